package docs

import (
	"bytes"
	"fmt"
	"html/template"
	"strings"

	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/ast"
	"github.com/yuin/goldmark/parser"
	"github.com/yuin/goldmark/renderer/html"
	"github.com/yuin/goldmark/text"
)

// prose renders the contract's descriptions, which are Markdown. Raw HTML in
// them is left out.
type prose struct{ md goldmark.Markdown }

func newText() prose {
	return prose{goldmark.New(
		goldmark.WithParserOptions(parser.WithAutoHeadingID()),
		goldmark.WithRendererOptions(html.WithXHTML()),
	)}
}

// block renders paragraphs.
func (p prose) block(source string) (template.HTML, error) {
	out, _, err := p.guide(source)
	return out, err
}

// inline renders text that stands within a line: one paragraph loses its tags.
func (p prose) inline(source string) (template.HTML, error) {
	out, err := p.block(source)
	if err != nil {
		return "", err
	}
	s := strings.TrimSpace(string(out))
	if strings.Count(s, "<p>") == 1 && strings.HasPrefix(s, "<p>") && strings.HasSuffix(s, "</p>") {
		s = strings.TrimSuffix(strings.TrimPrefix(s, "<p>"), "</p>")
	}
	return template.HTML(s), nil //nolint:gosec // rendered from the embedded contract, without raw HTML
}

// link is an entry of the contents.
type link struct{ ID, Text string }

// guide renders paragraphs and gives their headings.
func (p prose) guide(source string) (template.HTML, []link, error) {
	src := []byte(source)
	tree := p.md.Parser().Parse(text.NewReader(src), parser.WithContext(parser.NewContext(parser.WithIDs(guideIDs{}))))
	var heads []link
	for n := tree.FirstChild(); n != nil; n = n.NextSibling() {
		if n.Kind() != ast.KindHeading {
			continue
		}
		words := string(n.Lines().Value(src))
		heads = append(heads, link{ID: guideID(words), Text: words})
	}
	var out bytes.Buffer
	if err := p.md.Renderer().Render(&out, src, tree); err != nil {
		return "", nil, fmt.Errorf("render a description: %w", err)
	}
	return template.HTML(out.String()), heads, nil //nolint:gosec // as above
}

// guideIDs names headings so that no other part of the page has the same id.
type guideIDs struct{}

// Generate gives the id of a heading.
func (guideIDs) Generate(value []byte, _ ast.NodeKind) []byte { return []byte(guideID(string(value))) }

// Put takes note of an id that is given; there is none.
func (guideIDs) Put([]byte) {}

func guideID(heading string) string { return "guide-" + slug(heading) }

// slug makes a part of an id from words.
func slug(s string) string {
	return strings.Join(strings.FieldsFunc(strings.ToLower(s), func(r rune) bool {
		return (r < 'a' || r > 'z') && (r < '0' || r > '9')
	}), "-")
}
