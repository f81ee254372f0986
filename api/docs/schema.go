package docs

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/getkin/kin-openapi/openapi3"
)

// typeOf names a type, with links to the schemas in it.
func typeOf(ref *openapi3.SchemaRef) []part {
	if name := shared(ref.Ref, "schemas"); name != "" {
		return orNull([]part{{Text: name, Link: schemaID(name)}}, ref.Value.Nullable)
	}
	s := ref.Value
	var out []part
	switch {
	case len(s.OneOf) > 0:
		for i, one := range s.OneOf {
			if i > 0 {
				out = append(out, part{Text: " or "})
			}
			out = append(out, typeOf(one)...)
		}
	case s.Type.Is("array"):
		out = append([]part{{Text: "array of "}}, typeOf(s.Items)...)
	case s.Format != "" && s.Format != "double":
		out = []part{{Text: strings.Join(s.Type.Slice(), " or ") + ", " + s.Format}}
	default:
		out = []part{{Text: strings.Join(s.Type.Slice(), " or ")}}
	}
	return orNull(out, s.Nullable)
}

func orNull(parts []part, nullable bool) []part {
	if !nullable {
		return parts
	}
	return append(parts, part{Text: " or null"})
}

// bounds says in words what values a schema takes. A named schema says it in
// its own place.
func bounds(ref *openapi3.SchemaRef) []string {
	if shared(ref.Ref, "schemas") != "" {
		return nil
	}
	s := ref.Value
	var out []string
	add := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if right, ok := s.Extensions["x-right"].(string); ok && s.Format == "" {
		add("%s", right)
	}
	if len(s.Enum) > 0 {
		list := make([]string, len(s.Enum))
		for i, v := range s.Enum {
			list[i] = fmt.Sprint(v)
		}
		add("one of %s", strings.Join(list, ", "))
	}
	if text := span(s); text != "" {
		add("%s", text)
	}
	if s.MaxLength != nil && s.Format == "" {
		add("%s", counted(int(s.MinLength), int(*s.MaxLength), "character")) //nolint:gosec // bounds of a text fit
	}
	if s.MaxItems != nil {
		add("%s", counted(int(s.MinItems), int(*s.MaxItems), "item")) //nolint:gosec // as above
	}
	if s.UniqueItems {
		add("none twice")
	}
	if s.Default != nil {
		add("%v unless you say otherwise", s.Default)
	}
	if s.Type.Is("array") && len(s.Items.Value.Enum) == 0 {
		for _, b := range bounds(s.Items) {
			add("each %s", b)
		}
	}
	return out
}

// span says between what a number lies.
func span(s *openapi3.Schema) string {
	exclusive := s.ExclusiveMin.IsTrue()
	switch {
	case s.Min != nil && s.Max != nil && exclusive:
		return "above " + number(*s.Min) + ", up to " + number(*s.Max)
	case s.Min != nil && s.Max != nil:
		return number(*s.Min) + " to " + number(*s.Max)
	case s.Min != nil && exclusive:
		return "above " + number(*s.Min)
	case s.Min != nil:
		return number(*s.Min) + " or more"
	case s.Max != nil:
		return number(*s.Max) + " at most"
	}
	return ""
}

func number(f float64) string { return strconv.FormatFloat(f, 'f', -1, 64) }

func counted(least, most int, unit string) string {
	s := unit + "s"
	if most == 1 {
		s = unit
	}
	switch {
	case least == most:
		return fmt.Sprintf("%d %s", most, s)
	case least > 0:
		return fmt.Sprintf("%d to %d %s", least, most, s)
	}
	return fmt.Sprintf("at most %d %s", most, s)
}

// longest is the number of characters of an example that fits into a table.
const longest = 60

// short gives an example in one line, or nothing when it is long or has parts,
// which the example of the whole shows better.
func short(v any) string {
	text, ok := v.(string)
	if !ok {
		text = compact(v)
	}
	if utf8.RuneCountInString(text) > longest || strings.Contains(text, "{") && !ok {
		return ""
	}
	return text
}

// compact gives JSON in one line.
func compact(v any) string {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		return fmt.Sprint(v) // what was read from YAML always has a JSON form
	}
	return strings.TrimRight(b.String(), "\n")
}

// json gives an example in many lines, its fields in the order of the schema.
func (d draft) json(v any, ref *openapi3.SchemaRef) string {
	var b strings.Builder
	d.write(&b, v, ref, "\n")
	return b.String()
}

// write writes a value; newline holds the indentation.
func (d draft) write(b *strings.Builder, v any, ref *openapi3.SchemaRef, newline string) {
	inner := newline + "  "
	ref = chosen(ref, v)
	switch v := v.(type) {
	case map[string]any:
		if len(v) == 0 {
			b.WriteString("{}")
			return
		}
		b.WriteByte('{')
		for i, name := range d.namesOf(v, ref) {
			if i > 0 {
				b.WriteByte(',')
			}
			b.WriteString(inner + compact(name) + ": ")
			d.write(b, v[name], property(ref, name), inner)
		}
		b.WriteString(newline + "}")
	case []any:
		if !slices.ContainsFunc(v, composed) {
			b.WriteString(compact(v))
			return
		}
		b.WriteByte('[')
		for i, item := range v {
			if i > 0 {
				b.WriteByte(',')
			}
			b.WriteString(inner)
			d.write(b, item, items(ref), inner)
		}
		b.WriteString(newline + "]")
	default:
		b.WriteString(compact(v))
	}
}

func composed(v any) bool {
	switch v.(type) {
	case map[string]any, []any:
		return true
	}
	return false
}

// namesOf gives the fields of a value, those of the schema first.
func (d draft) namesOf(v map[string]any, ref *openapi3.SchemaRef) []string {
	names := slices.Collect(maps.Keys(v))
	if ref == nil {
		slices.Sort(names)
		return names
	}
	return inOrder(names, d.propertyNames(ref))
}

func property(ref *openapi3.SchemaRef, name string) *openapi3.SchemaRef {
	if ref == nil {
		return nil
	}
	return ref.Value.Properties[name]
}

func items(ref *openapi3.SchemaRef) *openapi3.SchemaRef {
	if ref == nil {
		return nil
	}
	return ref.Value.Items
}

// chosen gives the alternative of a schema that a value is of.
func chosen(ref *openapi3.SchemaRef, v any) *openapi3.SchemaRef {
	if ref == nil {
		return nil
	}
	_, many := v.([]any)
	for _, one := range ref.Value.OneOf {
		if one.Value.Type.Is("array") == many {
			return one
		}
	}
	return ref
}
