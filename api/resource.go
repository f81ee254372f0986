package api

import (
	"context"
	"net/http"

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
	out, err := f.commands.Patch(c.Request().Context(), cl, id, match, mergePatch(raw, f.body, f.fields))
	if err != nil {
		return err
	}
	return reply(c, out.Answer, out.Repeated)
}

// mergePatch makes the pure change that a merge patch asks for.
func mergePatch[F, B any](raw []byte, body func(F) B, fields func(B) (F, error)) func(F) (F, error) {
	return func(old F) (F, error) {
		var zero F
		doc, err := encode(body(old))
		if err != nil {
			return zero, err
		}
		merged, err := jsonpatch.MergePatch(doc, raw)
		if err != nil {
			return zero, fault.Malformed("The body is not a JSON merge patch (RFC 7396).")
		}
		var b B
		if err := decodeInto(merged, &b); err != nil {
			return zero, err
		}
		return fields(b)
	}
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
