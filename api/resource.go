package api

import (
	"context"
	"encoding/base64"
	"encoding/json"
	"net/http"
	"strconv"

	jsonpatch "github.com/evanphx/json-patch/v5"
	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"tankward/service/fault"
	"tankward/service/resource"
	"tankward/service/tx"
)

// commands is what resource.Kind offers, whatever its transaction.
type commands[F any] interface {
	Create(ctx context.Context, c tx.Call[resource.Created[F]], id uuid.UUID, fields F) (tx.Outcome[resource.Created[F]], error)
	Patch(ctx context.Context, c tx.Call[resource.Row[F]], id uuid.UUID, match resource.IfMatch, change func(F) (F, error)) (tx.Outcome[resource.Row[F]], error)
	Archive(ctx context.Context, c tx.Call[resource.Row[F]], id uuid.UUID, match resource.IfMatch) (tx.Outcome[resource.Row[F]], error)
}

// face is how one kind of resource looks from outside: F its fields, B the body
// it is created from, R its answer. The converters are pure.
type face[F, B, R any] struct {
	path     string // of the collection, such as "/v1/sites"
	commands commands[F]
	id       func(B) *uuid.UUID // the id the caller chose, if any
	fields   func(B) (F, error) // checks what the contract cannot say
	body     func(F) B          // the fields as a create body, for merge patches
	answer   func(resource.Row[F]) R
	// restart names an object of the body whose other fields belong to its kind
	// (or form): a patch that changes the kind begins it anew.
	restart, kind string
}

// create answers a POST to the collection: 201, or 200 when the same request
// had created the resource before.
func create[F, B, R any](a *API, c echo.Context, f face[F, B, R]) error {
	body, err := decode[B](c)
	if err != nil {
		return err
	}
	fields, err := f.fields(body)
	if err != nil {
		return err
	}
	id := a.newID()
	if chosen := f.id(body); chosen != nil {
		id = *chosen
	}
	cl, err := call(a, c, func(r resource.Created[F]) (tx.Answer, error) {
		code := http.StatusCreated
		if !r.New {
			code = http.StatusOK
		}
		return f.encode(code, r.Row)
	})
	if err != nil {
		return err
	}
	out, err := f.commands.Create(c.Request().Context(), cl, id, fields)
	if err != nil {
		return err
	}
	return reply(c, out.Answer, out.Repeated)
}

// patch answers a PATCH with an RFC 7396 merge patch of the create body.
func patch[F, B, R any](a *API, c echo.Context, f face[F, B, R], id uuid.UUID) error {
	match, err := ifMatch(c)
	if err != nil {
		return err
	}
	raw, err := readBody(c)
	if err != nil {
		return err
	}
	cl, err := call(a, c, f.encodeOK)
	if err != nil {
		return err
	}
	out, err := f.commands.Patch(c.Request().Context(), cl, id, match, mergePatch(a, raw, f))
	if err != nil {
		return err
	}
	return reply(c, out.Answer, out.Repeated)
}

// mergePatch makes the pure change that a merge patch of a resource asks for.
func mergePatch[F, B, R any](a *API, raw []byte, f face[F, B, R]) func(F) (F, error) {
	return func(old F) (F, error) {
		var zero F
		var doc, change map[string]any
		if err := through(f.body(old), &doc); err != nil {
			return zero, err
		}
		if err := json.Unmarshal(raw, &change); err != nil {
			return zero, fault.Malformed("The body is not a JSON merge patch (RFC 7396).")
		}
		restart(doc, change, f.restart, f.kind)
		merged, err := merge(doc, change)
		if err != nil {
			return zero, err
		}
		var b B
		if err := a.contract.checkCreate(f.path, merged); err != nil {
			return zero, err
		}
		if err := through(merged, &b); err != nil {
			return zero, err
		}
		return f.fields(b)
	}
}

// restart drops the object of doc whose kind the change replaces.
func restart(doc, change map[string]any, object, kind string) {
	was, _ := doc[object].(map[string]any)
	to, ok := change[object].(map[string]any)
	if ok && to[kind] != nil && to[kind] != was[kind] {
		delete(doc, object)
	}
}

// merge applies a merge patch (RFC 7396).
func merge(doc, change map[string]any) (map[string]any, error) {
	from, err := encode(doc)
	if err != nil {
		return nil, err
	}
	by, err := encode(change)
	if err != nil {
		return nil, err
	}
	b, err := jsonpatch.MergePatch(from, by)
	if err != nil {
		return nil, fault.Malformed("The body is not a JSON merge patch (RFC 7396).")
	}
	var out map[string]any
	return out, json.Unmarshal(b, &out)
}

// through carries a value over as JSON.
func through(from, to any) error {
	b, err := encode(from)
	if err != nil {
		return err
	}
	return decodeInto(b, to)
}

// archive answers a DELETE: the resource goes out of use, its history stays.
func archive[F, B, R any](a *API, c echo.Context, f face[F, B, R], id uuid.UUID) error {
	match, err := ifMatch(c)
	if err != nil {
		return err
	}
	cl, err := call(a, c, f.encodeOK)
	if err != nil {
		return err
	}
	out, err := f.commands.Archive(c.Request().Context(), cl, id, match)
	if err != nil {
		return err
	}
	return reply(c, out.Answer, out.Repeated)
}

func (f face[F, B, R]) encodeOK(r resource.Row[F]) (tx.Answer, error) {
	return f.encode(http.StatusOK, r)
}

func (f face[F, B, R]) encode(code int, r resource.Row[F]) (tx.Answer, error) {
	b, err := encode(f.answer(r))
	if err != nil {
		return tx.Answer{}, err
	}
	return tx.Answer{Status: code, ETag: etag(r.Version), Location: f.path + "/" + r.ID.String(), Body: b}, nil
}

// show answers a GET of one resource.
func show[F, B, R any](c echo.Context, f face[F, B, R], id uuid.UUID,
	read func(context.Context, tx.Scope, uuid.UUID) (resource.Row[F], error),
) error {
	row, err := read(c.Request().Context(), scopeOf(c), id)
	if err != nil {
		return err
	}
	return one(c, row.Version, f.answer(row))
}

// listBody is the shape of every list.
type listBody[R any] struct {
	Items []R    `json:"items"`
	Next  string `json:"next,omitempty"`
}

// showOne answers a GET of what has no version of its own: its weak tag changes
// with any change of the organisation, and with the local dates.
func showOne[R any](a *API, c echo.Context, dates string, read func(context.Context, tx.Scope) (R, error)) error {
	ctx, s := c.Request().Context(), scopeOf(c)
	head, err := a.reads.Head(ctx, s)
	if err != nil {
		return err
	}
	if unchanged(c, listTag(c, head, dates)) {
		return c.NoContent(http.StatusNotModified)
	}
	body, err := read(ctx, s)
	if err != nil {
		return err
	}
	return send(c, http.StatusOK, body)
}

// cut gives a page of a list that is at hand whole; the cursor is a position.
func cut[T any](all []T, p resource.Paging) (resource.Page[T], error) {
	from := 0
	if p.After != "" {
		b, err := base64.RawURLEncoding.DecodeString(p.After)
		if err == nil {
			from, err = strconv.Atoi(string(b))
		}
		if err != nil || from < 0 || from > len(all) {
			return resource.Page[T]{}, resource.BadCursor()
		}
	}
	to := min(len(all), from+p.Limit)
	page := resource.Page[T]{Items: all[from:to]}
	if to < len(all) {
		page.Next = base64.RawURLEncoding.EncodeToString([]byte(strconv.Itoa(to)))
	}
	return page, nil
}

// showList answers a GET of a list. A caller that has seen the organisation's
// last change already gets 304 without the list being run.
func showList[T, R any](a *API, c echo.Context, dates string, answer func(T) R,
	read func(context.Context, tx.Scope) (resource.Page[T], error),
) error {
	ctx, s := c.Request().Context(), scopeOf(c)
	if c.Request().Header.Get("If-None-Match") != "" {
		head, err := a.reads.Head(ctx, s)
		if err != nil {
			return err
		}
		if unchanged(c, listTag(c, head, dates)) {
			return c.NoContent(http.StatusNotModified)
		}
	}
	page, err := read(ctx, s)
	if err != nil {
		return err
	}
	body := listBody[R]{Items: make([]R, len(page.Items)), Next: page.Next}
	for i, it := range page.Items {
		body.Items[i] = answer(it)
	}
	c.Response().Header().Set("ETag", listTag(c, page.Head, dates))
	nextLink(c, page.Next)
	return send(c, http.StatusOK, body)
}
