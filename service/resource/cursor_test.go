package resource_test

import (
	"testing"

	"tankward/service/fault"
	"tankward/service/resource"
)

type place struct {
	Name string
	N    int
}

func TestCursorKeepsThePlace(t *testing.T) {
	t.Parallel()
	for _, want := range []place{{}, {Name: "Zoanthus sp.", N: -3}, {Name: "«ä»\n", N: 1 << 40}} {
		got, err := resource.DecodeCursor[place](resource.EncodeCursor(want))
		if err != nil || got != want {
			t.Errorf("got %+v, %v; want %+v", got, err, want)
		}
	}
	if got, err := resource.DecodeCursor[place](""); got != (place{}) || err != nil {
		t.Errorf("no cursor: %+v, %v", got, err)
	}
}

func TestCursorOfSomethingElse(t *testing.T) {
	t.Parallel()
	for _, cursor := range []string{"?", "YQ", resource.EncodeCursor(7), resource.EncodeCursor(place{})[1:]} {
		if _, err := resource.DecodeCursor[place](cursor); !fault.Is(err, fault.BadRequest) {
			t.Errorf("%q: %v", cursor, err)
		}
	}
}
