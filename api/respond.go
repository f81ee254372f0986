package api

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"tankward/service/fault"
	"tankward/service/resource"
	"tankward/service/tx"
)

// etag gives the strong ETag of a version.
func etag(version int) string { return `"` + strconv.Itoa(version) + `"` }

// ifMatch reads the If-Match header: the version the caller has seen, or zero.
func ifMatch(c echo.Context) (resource.IfMatch, error) {
	h := strings.TrimSpace(c.Request().Header.Get("If-Match"))
	if h == "" || h == "*" {
		return 0, nil
	}
	v, err := strconv.Atoi(strings.Trim(h, `"`))
	if err == nil && v == 0 {
		return resource.NeverWritten, nil
	}
	if err != nil || v < 0 {
		return 0, fault.Malformed("A header cannot be read.", fault.Field{
			Pointer: "If-Match", Message: `must be the ETag the resource was read with, such as "3"`,
		})
	}
	return resource.IfMatch(v), nil
}

// unchanged answers 304 when the caller has the same ETag already.
func unchanged(c echo.Context, tag string) bool {
	c.Response().Header().Set("ETag", tag)
	for t := range strings.SplitSeq(c.Request().Header.Get("If-None-Match"), ",") {
		t = strings.TrimSpace(t)
		if t == "*" || t != "" && strings.TrimPrefix(t, "W/") == strings.TrimPrefix(tag, "W/") {
			return true
		}
	}
	return false
}

// one answers a single resource of a version.
func one(c echo.Context, version int, body any) error {
	if unchanged(c, etag(version)) {
		return c.NoContent(http.StatusNotModified)
	}
	return send(c, http.StatusOK, body)
}

// send encodes the body before the status is written, so that a failure to
// encode is still a problem and never half an answer.
func send(c echo.Context, code int, body any) error {
	b, err := encode(body)
	if err != nil {
		return err
	}
	return c.Blob(code, echo.MIMEApplicationJSON, b)
}

func encode(body any) ([]byte, error) {
	var buf bytes.Buffer
	enc := json.NewEncoder(&buf)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(body); err != nil {
		return nil, fmt.Errorf("encode an answer: %w", err)
	}
	return bytes.TrimRight(buf.Bytes(), "\n"), nil
}

// call makes a command's envelope from the request.
func call[R any](a *API, c echo.Context, encode func(R) (tx.Answer, error)) (tx.Call[R], error) {
	key := c.Request().Header.Get("Idempotency-Key")
	out := tx.Call[R]{Scope: scopeOf(c), Key: key, Now: a.now(), Encode: encode}
	if key == "" {
		return out, nil
	}
	if len(key) > 200 {
		return out, fault.Malformed("A header cannot be read.", fault.Field{Pointer: "Idempotency-Key", Message: "may have at most 200 characters"})
	}
	body, err := readBody(c)
	if err != nil {
		return out, err
	}
	h := sha256.New()
	for _, part := range []string{c.Request().Method, c.Request().URL.Path, c.Request().URL.Query().Encode()} {
		h.Write([]byte(part))
		h.Write([]byte{0})
	}
	h.Write(body)
	out.Fingerprint = [32]byte(h.Sum(nil))
	return out, nil
}

// readBody gives the body and leaves it to be read again.
func readBody(c echo.Context) ([]byte, error) {
	if c.Request().Body == nil {
		return nil, nil
	}
	b, err := io.ReadAll(c.Request().Body)
	if err != nil {
		if tooLong(err) {
			return nil, err
		}
		return nil, fault.Malformed("The body cannot be read to its end.")
	}
	c.Request().Body = io.NopCloser(bytes.NewReader(b))
	return b, nil
}

// decode reads a JSON body into a generated type; the contract has checked it.
func decode[B any](c echo.Context) (B, error) {
	var body B
	raw, err := readBody(c)
	if err != nil {
		return body, err
	}
	return body, decodeInto(raw, &body)
}

func decodeInto(raw []byte, body any) error {
	dec := json.NewDecoder(bytes.NewReader(raw))
	dec.DisallowUnknownFields()
	if err := dec.Decode(body); err != nil {
		if wrong, ok := errors.AsType[*json.UnmarshalTypeError](err); ok {
			return fault.Malformed("The body is not the JSON that is expected.", fault.Field{
				Pointer: "/" + strings.ReplaceAll(wrong.Field, ".", "/"), Message: notRead(wrong),
			})
		}
		return fault.Malformed("The body is not the JSON that is expected: "+plain(err.Error()), fault.Field{Message: "must follow the contract"})
	}
	return nil
}

// notRead says what would be right in the place of a value that the contract lets
// through and that still cannot be read, such as a whole number written 7e0.
func notRead(wrong *json.UnmarshalTypeError) string {
	if strings.HasPrefix(wrong.Value, "number") {
		return "must be a whole number in plain digits, such as 7"
	}
	return "must not be a value of the type " + wrong.Value
}

// reply writes a command's answer, kept or new.
func reply(c echo.Context, a tx.Answer, repeated bool) error {
	h := c.Response().Header()
	if a.ETag != "" {
		h.Set("ETag", a.ETag)
	}
	if a.Location != "" {
		h.Set(echo.HeaderLocation, a.Location)
	}
	if repeated {
		h.Set("Idempotency-Replayed", "true")
	}
	return c.Blob(a.Status, echo.MIMEApplicationJSON, a.Body)
}

// listTag is the weak ETag of a list: it changes with any change of the
// organisation, with the local dates, the role and the query.
func listTag(c echo.Context, head int64, dates string) string {
	s := scopeOf(c)
	sum := sha256.Sum256(fmt.Appendf(nil, "%d|%s|%s|%s|%s|%s", head, dates, s.Org, s.Role, s.Actor, c.Request().URL.RequestURI()))
	return `W/"` + hex.EncodeToString(sum[:12]) + `"`
}

// nextLink adds the RFC 8288 link to the next page.
func nextLink(c echo.Context, next string) {
	if next == "" {
		return
	}
	u := *c.Request().URL
	q := u.Query()
	q.Set("cursor", next)
	u.RawQuery = q.Encode()
	c.Response().Header().Set("Link", "<"+u.RequestURI()+`>; rel="next"`)
}

// paging reads limit, cursor and archived.
func paging(limit *int, cursor *string, archived *bool) resource.Paging {
	p := resource.Paging{Limit: 100}
	if limit != nil {
		p.Limit = *limit
	}
	if cursor != nil {
		p.After = *cursor
	}
	if archived != nil {
		p.Archived = *archived
	}
	return p
}
