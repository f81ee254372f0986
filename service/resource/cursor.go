package resource

import (
	"encoding/base64"
	"encoding/json"

	"tankward/service/fault"
)

// EncodeCursor makes an opaque cursor of a place in the order of a list.
func EncodeCursor[K any](place K) string {
	b, err := json.Marshal(place)
	if err != nil {
		return ""
	}
	return base64.RawURLEncoding.EncodeToString(b)
}

// DecodeCursor gives the place that EncodeCursor was given; the zero place,
// which stands before all others, for an empty cursor.
func DecodeCursor[K any](cursor string) (K, error) {
	var place K
	if cursor == "" {
		return place, nil
	}
	b, err := base64.RawURLEncoding.DecodeString(cursor)
	if err == nil {
		err = json.Unmarshal(b, &place)
	}
	if err != nil {
		return place, BadCursor()
	}
	return place, nil
}

// BadCursor refuses a cursor that no list has given.
func BadCursor() error {
	return fault.Malformed("A parameter cannot be read.",
		fault.Field{Pointer: "cursor", Message: "must be the value of next from the page before, unchanged"})
}
