package api

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"tankward/api/docs"
	"tankward/api/gen"
	"tankward/openapi"
)

// GetContract answers the contract itself.
func (a *API) GetContract(c echo.Context, _ gen.GetContractParams) error {
	if unchanged(c, a.contract.tag) {
		return c.NoContent(http.StatusNotModified)
	}
	return c.Blob(http.StatusOK, "application/yaml", openapi.YAML)
}

// readable is the contract as a page, made once; packed it is a twelfth of the
// size, which counts where the signal is poor.
type readable struct {
	plain, packed []byte
	tag           string // of the plain page
	policy        string
}

func newReadable(ct *contract) (*readable, error) {
	page, err := docs.Page(ct.doc, openapi.YAML)
	if err != nil {
		return nil, err
	}
	var packed bytes.Buffer
	w, err := gzip.NewWriterLevel(&packed, gzip.BestCompression)
	if err != nil {
		return nil, fmt.Errorf("pack the page: %w", err)
	}
	if _, err := w.Write(page); err != nil {
		return nil, fmt.Errorf("pack the page: %w", err)
	}
	if err := w.Close(); err != nil {
		return nil, fmt.Errorf("pack the page: %w", err)
	}
	sum, style := sha256.Sum256(page), sha256.Sum256([]byte(docs.Style()))
	return &readable{
		plain: page, packed: packed.Bytes(),
		tag: hex.EncodeToString(sum[:12]),
		policy: "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; style-src 'sha256-" +
			base64.StdEncoding.EncodeToString(style[:]) + "'",
	}, nil
}

// isPacked says that an answer has been compressed already.
func isPacked(c echo.Context) bool { return c.Path() == "/docs" }

// GetDocs answers the contract as a page.
func (a *API) GetDocs(c echo.Context, _ gen.GetDocsParams) error {
	h := c.Response().Header()
	h.Set(echo.HeaderVary, echo.HeaderAcceptEncoding)
	body, tag := a.page.plain, `"`+a.page.tag+`"`
	packed := strings.Contains(c.Request().Header.Get(echo.HeaderAcceptEncoding), "gzip")
	if packed {
		body, tag = a.page.packed, `"`+a.page.tag+`-gzip"`
	}
	if unchanged(c, tag) {
		return c.NoContent(http.StatusNotModified)
	}
	if packed {
		h.Set(echo.HeaderContentEncoding, "gzip")
	}
	h.Set(echo.HeaderContentSecurityPolicy, a.page.policy)
	return c.Blob(http.StatusOK, echo.MIMETextHTMLCharsetUTF8, body)
}
