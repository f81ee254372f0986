package api_test

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/base64"
	"io"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3filter"
)

func init() { //nolint:gochecknoinits // the library keeps decoders in a package variable
	openapi3filter.RegisterBodyDecoder("text/html", openapi3filter.PlainBodyDecoder)
}

func TestDocsPage(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	plain := r.send("", "GET", "/docs", nil).want(200)
	if got := plain.header.Get("Content-Type"); got != "text/html; charset=UTF-8" {
		t.Errorf("content type %q", got)
	}
	packed := r.send("", "GET", "/docs", nil, header("Accept-Encoding", "br, gzip")).want(200)
	if got := packed.header.Get("Content-Encoding"); got != "gzip" {
		t.Fatalf("content encoding %q", got)
	}
	unpack, err := gzip.NewReader(bytes.NewReader(packed.raw))
	if err != nil {
		t.Fatal(err)
	}
	page, err := io.ReadAll(unpack)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(page, plain.raw) || !bytes.Contains(page, []byte(`id="op-getDocs"`)) {
		t.Error("packed and plain differ, or are not the page")
	}

	tag := plain.header.Get("ETag")
	if tag == "" || tag == packed.header.Get("ETag") {
		t.Errorf("both forms have the ETag %s", tag)
	}
	again := r.send("", "GET", "/docs", nil, header("If-None-Match", tag)).want(304)
	if len(again.raw) > 0 {
		t.Errorf("a 304 with a body: %s", again.raw)
	}
	r.send("", "GET", "/docs", nil, header("If-None-Match", `"other"`)).want(200)

	// The browser takes the page's own style sheet and nothing else.
	_, rest, _ := strings.Cut(string(page), "<style>")
	style, _, _ := strings.Cut(rest, "</style>")
	sum := sha256.Sum256([]byte(style))
	policy := plain.header.Get("Content-Security-Policy")
	if !strings.Contains(policy, "default-src 'none'") || !strings.Contains(policy, base64.StdEncoding.EncodeToString(sum[:])) {
		t.Errorf("policy %q", policy)
	}
}
