package api

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"strconv"

	"github.com/labstack/echo/v4"

	"tankward/service/fault"
)

const problemType = "application/problem+json"

// status is the one table from classes of faults to HTTP.
var status = map[fault.Class]struct {
	code  int
	slug  string
	title string
}{
	fault.Internal:        {http.StatusInternalServerError, "internal", "Something went wrong on our side"},
	fault.BadRequest:      {http.StatusBadRequest, "bad-request", "The request cannot be read"},
	fault.Unauthenticated: {http.StatusUnauthorized, "unauthenticated", "No valid access key"},
	fault.Forbidden:       {http.StatusForbidden, "forbidden", "Your role may not do this"},
	fault.NotFound:        {http.StatusNotFound, "not-found", "There is no such resource"},
	fault.Conflict:        {http.StatusConflict, "conflict", "The request clashes with what is stored"},
	fault.Precondition:    {http.StatusPreconditionFailed, "stale", "The resource has changed since you read it"},
	fault.TooLarge:        {http.StatusRequestEntityTooLarge, "too-large", "The request is too large"},
	fault.Invalid:         {http.StatusUnprocessableEntity, "invalid", "The request cannot be carried out as it is"},
	fault.Busy:            {http.StatusConflict, "in-flight", "The same request is being carried out"},
	fault.Unavailable:     {http.StatusServiceUnavailable, "unavailable", "The service cannot take the request now"},
}

// problemBody is RFC 9457 problem details; fields are named by JSON pointer or
// by the parameter's name.
type problemBody struct {
	Type      string         `json:"type"`
	Title     string         `json:"title"`
	Status    int            `json:"status"`
	Detail    string         `json:"detail"`
	Instance  string         `json:"instance,omitempty"`
	RequestID string         `json:"request_id,omitempty"`
	Errors    []problemField `json:"errors,omitempty"`
}

type problemField struct {
	Pointer string `json:"pointer"`
	Message string `json:"message"`
}

// problemHandler renders every error. What is not a fault is logged in full and
// answered with a fixed text.
func problemHandler(log *slog.Logger) echo.HTTPErrorHandler {
	return func(err error, c echo.Context) {
		if c.Response().Committed {
			return
		}
		f := asFault(err)
		switch {
		case errors.Is(err, context.Canceled): // the caller has gone: nobody reads this
			f = fault.As(fault.Overloaded("The caller went away before there was an answer."))
		case f.Class == fault.Internal:
			log.LogAttrs(c.Request().Context(), slog.LevelError, "request failed",
				slog.String("error", err.Error()), slog.String("request_id", requestID(c)), slog.String("route", c.Path()))
		}
		if err := writeProblem(c, f); err != nil {
			log.LogAttrs(c.Request().Context(), slog.LevelWarn, "write problem", slog.String("error", err.Error()))
		}
	}
}

// asFault gives the fault in err, turns the router's own errors into faults,
// and hides everything else.
func asFault(err error) *fault.Error {
	if f := fault.As(err); f != nil {
		return f
	}
	if he, ok := errors.AsType[*echo.HTTPError](err); ok {
		switch he.Code {
		case http.StatusNotFound:
			return &fault.Error{Class: fault.NotFound, Detail: "There is nothing at this address. The contract at /openapi.yaml lists all addresses."}
		case http.StatusBadRequest:
			return &fault.Error{Class: fault.BadRequest, Detail: "A part of the request cannot be read: " + plain(fmt.Sprint(he.Message))}
		case http.StatusMethodNotAllowed:
			return &fault.Error{Class: methodNotAllowed, Detail: "This address does not take that method. The contract at /openapi.yaml lists what it takes."}
		case http.StatusRequestEntityTooLarge:
			return &fault.Error{Class: fault.TooLarge, Detail: tooLongDetail}
		}
	}
	return &fault.Error{Class: fault.Internal, Detail: "The service met an error it did not expect; it has been logged under the request id. Nothing was changed."}
}

// methodNotAllowed exists only at the edge; the service has no such class.
const methodNotAllowed fault.Class = -1

func writeProblem(c echo.Context, f *fault.Error) error {
	st, ok := status[f.Class]
	if f.Class == methodNotAllowed {
		st.code, st.slug, st.title, ok = http.StatusMethodNotAllowed, "method-not-allowed", "This method is not taken here", true
	}
	if !ok {
		st = status[fault.Internal]
	}
	p := problemBody{
		Type: "urn:tankward:problem:" + st.slug, Title: st.title, Status: st.code,
		Detail: f.Detail, Instance: c.Request().URL.Path, RequestID: requestID(c),
	}
	for _, e := range f.Fields {
		p.Errors = append(p.Errors, problemField(e))
	}
	b, err := json.Marshal(p)
	if err != nil {
		return err
	}
	h := c.Response().Header()
	if f.RetryAfter > 0 {
		h.Set("Retry-After", strconv.Itoa(max(1, int(f.RetryAfter.Seconds()))))
	}
	if f.Class == fault.Unauthenticated {
		h.Set("WWW-Authenticate", `Bearer realm="tankward"`)
	}
	return c.Blob(st.code, problemType, b)
}
