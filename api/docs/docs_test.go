package docs_test

import (
	"bytes"
	"context"
	"encoding/json"
	"encoding/xml"
	"errors"
	"io"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"

	"tankward/api/docs"
	"tankward/openapi"
)

// made is the page of the real contract, read back as XML: it is written so
// strictly that an element left open is an error.
type made struct {
	doc      *openapi3.T
	html     string
	ids      map[string]int
	links    []string
	loads    []string // what a browser would fetch
	elements map[string]int
	code     []string // the texts of <pre>
}

var page = sync.OnceValues(func() (*made, error) {
	doc, err := openapi3.NewLoader().LoadFromData(openapi.YAML)
	if err != nil {
		return nil, err
	}
	html, err := docs.Page(doc, openapi.YAML)
	if err != nil {
		return nil, err
	}
	m := &made{doc: doc, html: string(html), ids: map[string]int{}, elements: map[string]int{}}
	return m, m.read()
})

func (m *made) read() error {
	dec := xml.NewDecoder(strings.NewReader(m.html))
	dec.Entity = xml.HTMLEntity
	inPre := false
	for {
		t, err := dec.Token()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		switch t := t.(type) {
		case xml.StartElement:
			m.start(t)
			if t.Name.Local == "pre" {
				inPre = true
				m.code = append(m.code, "")
			}
		case xml.EndElement:
			inPre = inPre && t.Name.Local != "pre"
		case xml.CharData:
			if inPre {
				m.code[len(m.code)-1] += string(t)
			}
		}
	}
}

func (m *made) start(t xml.StartElement) {
	m.elements[t.Name.Local]++
	for _, a := range t.Attr {
		switch a.Name.Local {
		case "id":
			m.ids[a.Value]++
		case "href":
			m.links = append(m.links, a.Value)
			if t.Name.Local == "link" {
				m.loads = append(m.loads, a.Value)
			}
		case "src", "srcset", "data", "action", "poster", "background", "style":
			m.loads = append(m.loads, a.Name.Local+"="+a.Value)
		}
	}
}

func get(t *testing.T) *made {
	t.Helper()
	m, err := page()
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func TestPageIsWellFormed(t *testing.T) {
	t.Parallel()
	m := get(t)
	if !strings.HasPrefix(m.html, "<!DOCTYPE html>\n<html lang=") {
		t.Errorf("begins with %q", m.html[:60])
	}
	for id, n := range m.ids {
		if n > 1 {
			t.Errorf("the id %s is given %d times", id, n)
		}
	}
	for _, one := range []string{"html", "head", "body", "title", "main", "nav", "h1", "style"} {
		if m.elements[one] != 1 {
			t.Errorf("%d elements %s, want 1", m.elements[one], one)
		}
	}
	if strings.Contains(m.html, "raw HTML omitted") || strings.Contains(m.html, "ZgotmplZ") {
		t.Error("something was left out for safety")
	}
}

func TestPageHoldsTheContract(t *testing.T) {
	t.Parallel()
	m := get(t)
	operations := 0
	for path, item := range m.doc.Paths.Map() {
		for method, op := range item.Operations() {
			operations++
			_, article, found := strings.Cut(m.html, `<article id="op-`+op.OperationID+`">`)
			if !found {
				t.Errorf("the operation %s is missing", op.OperationID)
				continue
			}
			article, _, _ = strings.Cut(article, "</article>")
			for _, want := range slices.Concat([]string{">" + method + "<", ">" + path + "<", ">" + op.OperationID + "<"}, fieldsOf(op)) {
				if !strings.Contains(article, want) {
					t.Errorf("%s lacks %q", op.OperationID, want)
				}
			}
		}
	}
	if operations < 80 {
		t.Errorf("only %d operations were looked at", operations)
	}
	for name, s := range m.doc.Components.Schemas {
		_, article, _ := strings.Cut(m.html, `<article id="schema-`+name+`"`)
		article, _, _ = strings.Cut(article, "</article>")
		for field := range s.Value.Properties {
			if !strings.Contains(article, "<code>"+field+"</code>") {
				t.Errorf("the schema %s lacks %s", name, field)
			}
		}
		for _, word := range s.Value.Enum {
			if !strings.Contains(article, "<code>"+word.(string)+"</code>") {
				t.Errorf("the schema %s lacks %s", name, word)
			}
		}
		if article == "" {
			t.Errorf("the schema %s is missing", name)
		}
	}
}

// fieldsOf gives what an operation's article must hold of parameters, body,
// answers and roles.
func fieldsOf(op *openapi3.Operation) []string {
	var want []string
	for _, p := range op.Parameters {
		want = append(want, "<code>"+p.Value.Name+"</code>")
	}
	if op.RequestBody != nil {
		for _, media := range op.RequestBody.Value.Content {
			for field := range media.Schema.Value.Properties {
				want = append(want, "<code>"+field+"</code>")
			}
		}
	}
	for status := range op.Responses.Map() {
		want = append(want, ">"+status+"<")
	}
	for _, role := range op.Extensions["x-roles"].([]any) {
		want = append(want, `<span class="role">`+role.(string)+"</span>")
	}
	return want
}

func TestLinksResolve(t *testing.T) {
	t.Parallel()
	m := get(t)
	inside := 0
	for _, to := range m.links {
		id, local := strings.CutPrefix(to, "#")
		switch {
		case local && m.ids[id] != 1:
			t.Errorf("the link %s leads nowhere", to)
		case local:
			inside++
		case to != "/openapi.yaml":
			t.Errorf("the link %s leaves the page", to)
		}
	}
	if inside < 500 {
		t.Errorf("only %d links inside the page were looked at", inside)
	}
}

var fetches = regexp.MustCompile(`(?i)url\(|@import|@font-face|src\s*:`)

func TestPageLoadsNothing(t *testing.T) {
	t.Parallel()
	m := get(t)
	if len(m.loads) > 0 {
		t.Errorf("the page loads %v", m.loads)
	}
	for _, name := range []string{"script", "link", "img", "iframe", "object", "embed", "video", "audio", "form", "base"} {
		if m.elements[name] > 0 {
			t.Errorf("the page holds %s", name)
		}
	}
	if found := fetches.FindString(docs.Style()); found != "" {
		t.Errorf("the style sheet holds %s", found)
	}
}

func TestExamplesAreJSON(t *testing.T) {
	t.Parallel()
	m := get(t)
	for _, text := range m.code {
		if !json.Valid([]byte(text)) {
			t.Errorf("not JSON:\n%s", text)
		}
	}
	if len(m.code) < 150 {
		t.Errorf("only %d examples", len(m.code))
	}
}

const small = `
openapi: 3.0.3
info: {title: small, version: '1', description: "## Two words\n<b>bold</b> & *more*"}
tags: [{name: things}]
x-common: {base: &base {last: {type: string}}}
paths:
  /z/{id}:
    put:
      operationId: putZ
      tags: [things]
      summary: Put <z>
      x-roles: [owner]
      parameters:
        - {name: id, in: path, required: true, description: Which., schema: {type: integer, minimum: 1}}
      requestBody:
        content: {application/json: {schema: {$ref: '#/components/schemas/Thing'}}}
      responses:
        '200': {description: Done., content: {application/json: {schema: {$ref: '#/components/schemas/Thing'}, example: {extra: 1, list: [{b: 1}], last: x, name: yy}}}}
        '404': {$ref: '#/components/responses/NotFound'}
  /a:
    get: {operationId: getA, tags: [things], summary: A, security: [], responses: {'200': {description: Ok.}}}
components:
  responses: {NotFound: {description: Nothing.}}
  schemas:
    Thing:
      type: object
      required: [name]
      properties:
        name: {type: string, nullable: true, minLength: 2, maxLength: 5, description: Its name.}
        <<: *base
        list: {type: array, maxItems: 1, items: {type: object}}
`

func TestPageOfASmallContract(t *testing.T) {
	t.Parallel()
	doc, err := openapi3.NewLoader().LoadFromData([]byte(small))
	if err != nil {
		t.Fatal(err)
	}
	if err := doc.Validate(context.Background()); err != nil {
		t.Fatal(err)
	}
	out, err := docs.Page(doc, []byte(small))
	if err != nil {
		t.Fatal(err)
	}
	// Each stands once, in this order.
	rest := string(out)
	_, rest, _ = strings.Cut(rest, "<main>")
	for _, want := range []string{
		`<h2 id="guide-two-words">Two words</h2>`, "bold", " &amp; <em>more</em>",
		`id="op-putZ"`, http.MethodPut, "/z/{id}", "Put &lt;z&gt;", "owner",
		"<code>id</code>", "needed", "<small>path</small>", "integer", "Which.", "1 or more",
		"may be left out", "#schema-Thing", "<code>name</code>", "needed", "string or null", "Its name.", "2 to 5 characters",
		"<code>last</code>", "<code>list</code>", "array of object", "at most 1 item",
		"200", "Done.",
		"{\n  &#34;name&#34;: &#34;yy&#34;,\n  &#34;last&#34;: &#34;x&#34;,\n  &#34;list&#34;: [\n    {\n      &#34;b&#34;: 1\n    }\n  ],\n  &#34;extra&#34;: 1\n}",
		"#answer-NotFound", "404", "Not found",
		`id="op-getA"`, "No key is needed.", `id="answer-NotFound"`, "Nothing.", `id="schema-Thing"`,
	} {
		_, after, found := strings.Cut(rest, want)
		if !found {
			t.Fatalf("%q is missing, or not in its place; left:\n%s", want, rest)
		}
		rest = after
	}
	if bytes.Contains(out, []byte("<b>bold")) {
		t.Error("raw HTML of a description came through")
	}
}
