package openapi_test

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/google/go-cmp/cmp"

	"tankward/service/care/readyset"
	"tankward/service/mark"
	"tankward/service/stock"
)

// walk calls f for a schema and all inside it, each with its place.
func walk(where string, ref *openapi3.SchemaRef, f func(where string, s *openapi3.Schema)) {
	if ref == nil || ref.Value == nil {
		return
	}
	s := ref.Value
	f(where, s)
	for _, name := range slices.Sorted(maps.Keys(s.Properties)) {
		walk(where+"/"+name, s.Properties[name], f)
	}
	walk(where+"/items", s.Items, f)
	for i, one := range slices.Concat(s.OneOf, s.AnyOf, s.AllOf) {
		walk(fmt.Sprintf("%s/%d", where, i), one, f)
	}
}

// walkRequests calls f for every schema inside request bodies and parameters.
func walkRequests(doc *openapi3.T, f func(where string, s *openapi3.Schema)) {
	for _, op := range operations(doc) {
		if op.RequestBody != nil {
			for media, content := range op.RequestBody.Value.Content {
				walk(op.String()+" "+media, content.Schema, f)
			}
		}
		for _, p := range slices.Concat(op.Parameters, op.item.Parameters) {
			walk(op.String()+" "+p.Value.Name, p.Value.Schema, f)
		}
	}
}

func TestEveryPropertyIsDescribed(t *testing.T) {
	t.Parallel()
	for name, ref := range contract(t).Components.Schemas {
		if ref.Value.Description == "" {
			t.Errorf("%s has no description", name)
		}
		walk(name, ref, func(where string, s *openapi3.Schema) {
			for field, p := range s.Properties {
				// The example of a field that is null while a resource is in use is null.
				if p.Value.Description == "" || p.Value.Example == nil && !(p.Value.Nullable && strings.HasSuffix(field, "_at")) {
					t.Errorf("%s/%s has no description or no example", where, field)
				}
			}
		})
	}
}

func TestObjectsAreClosed(t *testing.T) {
	t.Parallel()
	for name, ref := range contract(t).Components.Schemas {
		walk(name, ref, func(where string, s *openapi3.Schema) {
			if s.Type.Is("object") && (s.AdditionalProperties.Has == nil || *s.AdditionalProperties.Has) {
				t.Errorf("%s takes unknown fields", where)
			}
			for _, field := range s.Required {
				if s.Properties[field] == nil {
					t.Errorf("%s requires %s, which it does not have", where, field)
				}
			}
		})
	}
}

func TestInputIsBounded(t *testing.T) {
	t.Parallel()
	walkRequests(contract(t), func(where string, s *openapi3.Schema) {
		switch {
		case s.Type.Is("string"):
			if s.MaxLength == nil && len(s.Enum) == 0 && s.Format == "" && s.Pattern == "" {
				t.Errorf("%s: a text of any length", where)
			}
			if s.Pattern != "" && s.Extensions["x-right"] == nil {
				t.Errorf("%s: a pattern without x-right, so nobody learns what would be right", where)
			}
		case s.Type.Is("array"):
			if s.MaxItems == nil {
				t.Errorf("%s: an array of any length", where)
			}
		case s.Type.Is("number"), s.Type.Is("integer"):
			if s.Min == nil || s.Max == nil {
				t.Errorf("%s: a number without bounds", where)
			}
			if s.Type.Is("number") && s.Format != "double" {
				t.Errorf("%s: without the format double it becomes a float32", where)
			}
		}
	})
}

func TestTextRefusesNUL(t *testing.T) {
	t.Parallel()
	tried := 0
	walkRequests(contract(t), func(where string, s *openapi3.Schema) {
		if !s.Type.Is("string") || len(s.Enum) > 0 || s.Format != "" {
			return
		}
		tried++
		if err := s.VisitJSON("a\x00b"); err == nil {
			t.Errorf("%s takes NUL", where)
		}
	})
	if tried < 100 {
		t.Errorf("only %d texts were found", tried)
	}
}

func TestNumbersAreDoubles(t *testing.T) {
	t.Parallel()
	for name, ref := range contract(t).Components.Schemas {
		walk(name, ref, func(where string, s *openapi3.Schema) {
			if s.Type.Is("number") && s.Format != "double" {
				t.Errorf("%s: without the format double it becomes a float32", where)
			}
		})
	}
}

// TestPatchesFollowCreate holds the merge patches to the create bodies: what may
// be left out there may be taken away here, and nothing here has a default, which
// a validator could put into a patch that does not name the field.
func TestPatchesFollowCreate(t *testing.T) {
	t.Parallel()
	schemas := contract(t).Components.Schemas
	found := 0
	for name, ref := range schemas {
		resource, ok := strings.CutSuffix(strings.TrimPrefix(name, "Optional"), "Patch")
		if !ok {
			continue
		}
		patch, whole := ref.Value, schemas[resource+"Create"]
		if whole == nil {
			whole = schemas[resource]
		} else {
			found++
			if patch.MinProps != 1 {
				t.Errorf("%s may be empty", name)
			}
		}
		if len(patch.Required) > 0 {
			t.Errorf("%s requires %v", name, patch.Required)
		}
		for field, p := range patch.Properties {
			if p.Value.Default != nil {
				t.Errorf("%s/%s has a default", name, field)
			}
			in := whole.Value.Properties[field]
			if in == nil {
				t.Errorf("%s/%s is no field of what it changes", name, field)
				continue
			}
			needed := slices.Contains(whole.Value.Required, field)
			// A word that has a default is set to it by name.
			if needed && p.Value.Nullable || !needed && !p.Value.Nullable && len(p.Value.Enum) == 0 && resource != "Organisation" {
				t.Errorf("%s/%s: nullable is %t, needed on create is %t", name, field, p.Value.Nullable, needed)
			}
		}
	}
	if found < 9 {
		t.Errorf("only %d patches of resources were found", found)
	}
}

func TestWordsAreThoseOfTheService(t *testing.T) {
	t.Parallel()
	schemas := contract(t).Components.Schemas
	for name, want := range map[string][]string{
		"SpeciesFactName": texts(stock.FactNames()),
		"SpeciesGroup":    texts(stock.Groups()),
		"Counting":        texts(stock.Countings()),
		"Mark":            texts(mark.All()),
		"TankPart": texts([]readyset.Part{
			readyset.ReturnPump, readyset.Wavemaker, readyset.Heater, readyset.Skimmer, readyset.TopOff, readyset.Doser, readyset.CO2,
			readyset.Carbon, readyset.AgeingLamps, readyset.PHProbe, readyset.BackupPump, readyset.WaterMaker, readyset.Medicine,
		}),
	} {
		var got []string
		for _, v := range schemas[name].Value.Enum {
			got = append(got, fmt.Sprint(v))
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s (-service +contract):\n%s", name, diff)
		}
	}
}

func texts[T ~string](in []T) []string {
	out := make([]string, len(in))
	for i, v := range in {
		out[i] = string(v)
	}
	return out
}

// TestFactsAreDocumented reads the kinds of facts where the engine names them.
func TestFactsAreDocumented(t *testing.T) {
	t.Parallel()
	files, err := filepath.Glob("../service/care/*.go")
	if err != nil {
		t.Fatal(err)
	}
	doc, found := contract(t).Components.Schemas["Fact"].Value.Description, 0
	for _, name := range files {
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(file, func(n ast.Node) bool {
			spec, ok := n.(*ast.ValueSpec)
			if !ok {
				return true
			}
			if kind, ok := spec.Type.(*ast.Ident); ok && kind.Name == "FactKind" {
				for _, v := range spec.Values {
					found++
					if lit, ok := v.(*ast.BasicLit); ok && !strings.Contains(doc, "`"+strings.Trim(lit.Value, `"`)+"`") {
						t.Errorf("the contract does not say what the fact %s means", lit.Value)
					}
				}
			}
			return true
		})
	}
	if found < 30 {
		t.Errorf("only %d kinds of facts were found", found)
	}
}
