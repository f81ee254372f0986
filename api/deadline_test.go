package api

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/labstack/echo/v4"
)

func TestARequestHasADeadline(t *testing.T) {
	t.Parallel()
	c := echo.New().NewContext(httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/", http.NoBody), httptest.NewRecorder())
	err := limitTime(func(c echo.Context) error {
		if _, ok := c.Request().Context().Deadline(); !ok || deadline >= writeTimeout {
			t.Errorf("has a deadline: %v, after %s; the answer must be written within %s", ok, deadline, writeTimeout)
		}
		return nil
	})(c)
	if err != nil {
		t.Error(err)
	}
}

// A caller who goes away is no error of ours, and nothing to wake anybody for.
func TestCallerGoneIsNotLoggedAsAnError(t *testing.T) {
	t.Parallel()
	var log strings.Builder
	handle := problemHandler(slog.New(slog.NewTextHandler(&log, nil)))
	for err, code := range map[error]int{context.Canceled: http.StatusServiceUnavailable, errors.New("secret text"): http.StatusInternalServerError} {
		rec := httptest.NewRecorder()
		handle(err, echo.New().NewContext(httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/", http.NoBody), rec))
		if rec.Code != code || strings.Contains(rec.Body.String(), "secret") {
			t.Errorf("%v: %d %s", err, rec.Code, rec.Body)
		}
	}
	if got := log.String(); strings.Contains(got, "canceled") || !strings.Contains(got, "secret text") {
		t.Errorf("logged %s", got)
	}
}
