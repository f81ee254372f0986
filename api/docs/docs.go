// Package docs makes a page for people from the contract: the guide, every
// operation, every schema, and the answers that operations share. The page
// needs nothing but itself: no script, no font and no picture from elsewhere.
package docs

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"

	"github.com/getkin/kin-openapi/openapi3"
	"go.yaml.in/yaml/v4"
)

var (
	//go:embed page.html
	pageHTML string
	//go:embed style.css
	styleCSS string
)

// Style is the page's style sheet, which stands in the page itself.
func Style() string { return styleCSS }

// Page renders the contract. source is the document it was read from: it still
// knows the order in which things are written.
func Page(doc *openapi3.T, source []byte) ([]byte, error) {
	var root yaml.Node
	if err := yaml.Unmarshal(source, &root); err != nil {
		return nil, fmt.Errorf("read the order of the contract: %w", err)
	}
	d := draft{doc: doc, root: &root, text: newText()}
	view, err := d.page()
	if err != nil {
		return nil, err
	}
	t, err := template.New("page").Parse(pageHTML)
	if err != nil {
		return nil, fmt.Errorf("read the page's template: %w", err)
	}
	var out bytes.Buffer
	if err := t.Execute(&out, view); err != nil {
		return nil, fmt.Errorf("render the page: %w", err)
	}
	return out.Bytes(), nil
}
