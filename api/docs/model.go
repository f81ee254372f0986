package docs

import (
	"fmt"
	"html/template"
	"maps"
	"net/http"
	"slices"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"
	"go.yaml.in/yaml/v4"
)

// page is what the template shows.
type page struct {
	Title, Version, Licence string
	Style                   template.CSS
	Guide                   template.HTML
	Headings                []link
	Groups                  []group
	Answers                 []answer
	Schemas                 []schema
}

// group holds the operations of one tag.
type group struct {
	ID, Name    string
	Description template.HTML
	Operations  []operation
}

type operation struct {
	ID, Name, Method, Path, Summary string
	Description                     template.HTML
	Roles                           []string // empty: no key is needed
	Parameters                      []field
	Body                            *body
	Answers                         []answer
	Shared                          []answer // described once for all
}

type body struct {
	Media    string
	Required bool
	Type     []part
	Kinds    []fields // one for each form the body can take
	Examples []example
}

type fields struct {
	Title  string // a schema's name where there are several
	Fields []field
}

// answer is a response; Name and ID are those of a shared one.
type answer struct {
	Status, ID, Name string
	Description      template.HTML
	Media            string
	Type             []part
	Headers          []field
	Examples         []example
}

// field is a parameter, a header or a field of a schema.
type field struct {
	Name, In    string
	Required    bool
	Type        []part
	Description template.HTML
	Bounds      template.HTML
	Example     string
}

// part is a piece of a type's name, with a link where it is a schema.
type part struct{ Text, Link string }

type example struct{ Title, JSON string }

type schema struct {
	ID, Name    string
	Description template.HTML
	Type        []part
	Words       []string
	Fields      []field
	Example     string
}

// draft makes the page's parts.
type draft struct {
	doc  *openapi3.T
	root *yaml.Node
	text prose
}

func (d draft) page() (page, error) {
	p := page{Title: d.doc.Info.Title, Version: d.doc.Info.Version, Style: template.CSS(styleCSS)} //nolint:gosec // embedded
	if d.doc.Info.License != nil {
		p.Licence = d.doc.Info.License.Name
	}
	var err error
	if p.Guide, p.Headings, err = d.text.guide(d.doc.Info.Description); err != nil {
		return page{}, err
	}
	for _, tag := range d.doc.Tags {
		g, err := d.group(tag)
		if err != nil {
			return page{}, err
		}
		p.Groups = append(p.Groups, g)
	}
	for _, name := range keys(at(d.root, "components", "responses")) {
		a, err := d.answer("", d.doc.Components.Responses[name])
		if err != nil {
			return page{}, fmt.Errorf("answer %s: %w", name, err)
		}
		a.ID, a.Name = answerID(name), words(name)
		p.Answers = append(p.Answers, a)
	}
	for _, name := range slices.Sorted(maps.Keys(d.doc.Components.Schemas)) {
		s, err := d.schema(name)
		if err != nil {
			return page{}, fmt.Errorf("schema %s: %w", name, err)
		}
		p.Schemas = append(p.Schemas, s)
	}
	return p, nil
}

func (d draft) group(tag *openapi3.Tag) (group, error) {
	g := group{ID: "tag-" + slug(tag.Name), Name: tag.Name}
	var err error
	if g.Description, err = d.text.inline(tag.Description); err != nil {
		return group{}, err
	}
	for _, path := range keys(at(d.root, "paths")) {
		item := d.doc.Paths.Value(path)
		for _, method := range []string{http.MethodGet, http.MethodPost, http.MethodPut, http.MethodPatch, http.MethodDelete} {
			op := item.GetOperation(method)
			if op == nil || !slices.Contains(op.Tags, tag.Name) {
				continue
			}
			o, err := d.operation(op, item)
			if err != nil {
				return group{}, fmt.Errorf("operation %s: %w", op.OperationID, err)
			}
			o.Method, o.Path = method, path
			g.Operations = append(g.Operations, o)
		}
	}
	return g, nil
}

func (d draft) operation(op *openapi3.Operation, item *openapi3.PathItem) (operation, error) {
	o := operation{ID: "op-" + op.OperationID, Name: op.OperationID, Summary: op.Summary}
	if list, ok := op.Extensions["x-roles"].([]any); ok {
		for _, role := range list {
			o.Roles = append(o.Roles, fmt.Sprint(role))
		}
	}
	var err error
	if o.Description, err = d.text.block(op.Description); err != nil {
		return operation{}, err
	}
	for _, p := range slices.Concat(item.Parameters, op.Parameters) {
		f, err := d.parameter(p.Value)
		if err != nil {
			return operation{}, err
		}
		o.Parameters = append(o.Parameters, f)
	}
	if op.RequestBody != nil {
		if o.Body, err = d.body(op.RequestBody.Value); err != nil {
			return operation{}, err
		}
	}
	all := op.Responses.Map()
	for _, status := range slices.Sorted(maps.Keys(all)) {
		ref := all[status]
		if name := shared(ref.Ref, "responses"); name != "" {
			o.Shared = append(o.Shared, answer{Status: status, ID: answerID(name), Name: words(name)})
			continue
		}
		a, err := d.answer(status, ref)
		if err != nil {
			return operation{}, err
		}
		o.Answers = append(o.Answers, a)
	}
	return o, nil
}

func (d draft) parameter(p *openapi3.Parameter) (field, error) {
	f, err := d.field(p.Name, p.Schema, p.Description)
	f.In, f.Required = p.In, p.Required
	if p.Example != nil {
		f.Example = short(p.Example)
	}
	return f, err
}

// media gives the one media type of a body.
func media(c openapi3.Content) (string, *openapi3.MediaType) {
	for _, name := range slices.Sorted(maps.Keys(c)) {
		return name, c[name]
	}
	return "", nil
}

func (d draft) body(r *openapi3.RequestBody) (*body, error) {
	name, m := media(r.Content)
	b := &body{Media: name, Required: r.Required, Type: typeOf(m.Schema), Examples: d.examples(m)}
	forms := openapi3.SchemaRefs{m.Schema}
	if len(m.Schema.Value.OneOf) > 0 {
		forms = m.Schema.Value.OneOf
	}
	for _, form := range forms {
		if form.Value.Type.Is("array") {
			continue // its items are one of the other forms
		}
		list, err := d.fields(form)
		if err != nil {
			return nil, err
		}
		if len(list) > 0 {
			b.Kinds = append(b.Kinds, fields{Title: shared(form.Ref, "schemas"), Fields: list})
		}
	}
	return b, nil
}

func (d draft) answer(status string, ref *openapi3.ResponseRef) (answer, error) {
	a := answer{Status: status}
	var err error
	if ref.Value.Description != nil {
		if a.Description, err = d.text.inline(*ref.Value.Description); err != nil {
			return answer{}, err
		}
	}
	name, m := media(ref.Value.Content)
	if m != nil {
		a.Media, a.Type, a.Examples = name, typeOf(m.Schema), d.examples(m)
	}
	for _, name := range slices.Sorted(maps.Keys(ref.Value.Headers)) {
		h := ref.Value.Headers[name].Value
		f, err := d.field(name, h.Schema, h.Description)
		if err != nil {
			return answer{}, err
		}
		a.Headers = append(a.Headers, f)
	}
	return a, nil
}

func (d draft) examples(m *openapi3.MediaType) []example {
	if m.Example != nil {
		return []example{{Title: "Example", JSON: d.json(m.Example, m.Schema)}}
	}
	var out []example
	for _, name := range slices.Sorted(maps.Keys(m.Examples)) {
		e := m.Examples[name].Value
		title := "Example"
		if e.Summary != "" {
			title += ": " + e.Summary
		}
		out = append(out, example{Title: title, JSON: d.json(e.Value, m.Schema)})
	}
	return out
}

func (d draft) schema(name string) (schema, error) {
	ref := d.doc.Components.Schemas[name]
	s := schema{ID: schemaID(name), Name: name}
	var err error
	if s.Description, err = d.text.block(ref.Value.Description); err != nil {
		return schema{}, err
	}
	for _, word := range ref.Value.Enum {
		s.Words = append(s.Words, fmt.Sprint(word))
	}
	if s.Fields, err = d.fields(&openapi3.SchemaRef{Ref: "#/components/schemas/" + name, Value: ref.Value}); err != nil {
		return schema{}, err
	}
	if len(s.Fields) == 0 {
		s.Type = typeOf(&openapi3.SchemaRef{Value: ref.Value})
	}
	if ref.Value.Example != nil && len(s.Words) == 0 {
		s.Example = d.json(ref.Value.Example, &openapi3.SchemaRef{Ref: "#/components/schemas/" + name, Value: ref.Value})
	}
	return s, nil
}

// fields gives the fields of an object in the order of the contract.
func (d draft) fields(ref *openapi3.SchemaRef) ([]field, error) {
	var out []field
	for _, name := range d.propertyNames(ref) {
		prop := ref.Value.Properties[name]
		f, err := d.field(name, prop, prop.Value.Description)
		if err != nil {
			return nil, err
		}
		f.Required = slices.Contains(ref.Value.Required, name)
		out = append(out, f)
	}
	return out, nil
}

func (d draft) propertyNames(ref *openapi3.SchemaRef) []string {
	names := slices.Collect(maps.Keys(ref.Value.Properties))
	return inOrder(names, keys(at(d.root, "components", "schemas", shared(ref.Ref, "schemas"), "properties")))
}

func (d draft) field(name string, ref *openapi3.SchemaRef, description string) (field, error) {
	f := field{Name: name, Type: typeOf(ref)}
	var err error
	if f.Description, err = d.text.inline(description); err != nil {
		return field{}, err
	}
	if f.Bounds, err = d.text.inline(strings.Join(bounds(ref), "; ")); err != nil {
		return field{}, err
	}
	if ref.Value.Example != nil {
		f.Example = short(ref.Value.Example)
	}
	return f, nil
}

// shared gives the name of a component that a reference of the kind points at.
func shared(ref, kind string) string {
	name, ok := strings.CutPrefix(ref, "#/components/"+kind+"/")
	if !ok {
		return ""
	}
	return name
}

func answerID(name string) string { return "answer-" + name }

func schemaID(name string) string { return "schema-" + name }

// words writes a name such as NotFound as words.
func words(name string) string {
	var b strings.Builder
	for i, r := range name {
		if i > 0 && r >= 'A' && r <= 'Z' {
			b.WriteByte(' ')
			r += 'a' - 'A'
		}
		b.WriteRune(r)
	}
	return b.String()
}
