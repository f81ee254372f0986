// Package api is the service's face to HTTP: it parses and checks requests
// against the contract, calls the service, and renders answers and problems.
package api

import (
	"context"
	"log/slog"
	"net/http"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"
	"github.com/labstack/echo/v4/middleware"

	"tankward/api/gen"
	"tankward/service/access"
	"tankward/service/fault"
	"tankward/service/fleet"
	"tankward/service/stock"
	"tankward/service/tx"
	"tankward/service/visits"
	"tankward/service/work"
)

// Reads is what the api asks of the store beyond what a capability offers.
type Reads interface {
	// Head gives the number of the organisation's last change.
	Head(ctx context.Context, s tx.Scope) (int64, error)
	// Ready says whether the database answers.
	Ready(ctx context.Context) error
}

// Config is what the api is wired from.
type Config struct {
	Reads      Reads
	Access     *access.Service
	Fleet      *fleet.Service
	FleetReads fleet.Reads
	Stock      *stock.Service
	StockReads stock.Reads
	Work       *work.Service
	WorkReads  work.Reads
	Visits     *visits.Service
	Now        func() time.Time
	NewID      func() uuid.UUID
	Log        *slog.Logger
}

// API holds what handlers need.
type API struct {
	reads      Reads
	access     *access.Service
	fleet      *fleet.Service
	fleetReads fleet.Reads
	stock      *stock.Service
	stockReads stock.Reads
	work       *work.Service
	workReads  work.Reads
	visits     *visits.Service
	now        func() time.Time
	newID      func() uuid.UUID
	log        *slog.Logger
	contract   *contract
	page       *readable
}

// New wires the service's HTTP interface.
func New(c Config) (http.Handler, error) {
	ct, err := loadContract()
	if err != nil {
		return nil, err
	}
	page, err := newReadable(ct)
	if err != nil {
		return nil, err
	}
	a := &API{
		reads: c.Reads, access: c.Access, fleet: c.Fleet, fleetReads: c.FleetReads,
		stock: c.Stock, stockReads: c.StockReads, work: c.Work, workReads: c.WorkReads, visits: c.Visits,
		now: c.Now, newID: c.NewID, log: c.Log, contract: ct, page: page,
	}
	e := a.base()
	gen.RegisterHandlers(e, a)
	return headAsGet(e), nil
}

// headAsGet lets HEAD be answered wherever GET is: the server leaves the body out.
func headAsGet(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodHead {
			r = r.WithContext(r.Context())
			r.Method = http.MethodGet
		}
		next.ServeHTTP(w, r)
	})
}

const (
	bodyLimit    = "1M"
	gzipFrom     = 1024             // bytes; below that it saves no packet
	deadline     = 30 * time.Second // of one request, well before writeTimeout
	readTimeout  = 15 * time.Second
	writeTimeout = 60 * time.Second
	idleTimeout  = 120 * time.Second
)

// NewHTTPServer gives a server with limits on how long a caller may take.
func NewHTTPServer(h http.Handler) *http.Server {
	return &http.Server{
		Handler: h, ReadHeaderTimeout: readTimeout, ReadTimeout: readTimeout,
		WriteTimeout: writeTimeout, IdleTimeout: idleTimeout, MaxHeaderBytes: 64 << 10,
	}
}

// base makes the echo instance with everything that holds for all routes.
func (a *API) base() *echo.Echo {
	e := echo.New()
	e.HideBanner, e.HidePort = true, true
	e.IPExtractor = echo.ExtractIPDirect()
	e.HTTPErrorHandler = problemHandler(a.log)
	e.Use(
		limitTime,
		middleware.RequestIDWithConfig(middleware.RequestIDConfig{Generator: func() string { return a.newID().String() }}),
		a.logRequest,
		recoverPanic,
		middleware.BodyLimit(bodyLimit),
		// Lists repeat themselves, and signal is poor where tanks are.
		middleware.GzipWithConfig(middleware.GzipConfig{MinLength: gzipFrom, Skipper: isPacked}),
		a.contract.find,
		a.authenticate,
		allow,
		a.contract.validate,
	)
	return e
}

// limitTime bounds what a request may wait for, a lock in the database above all.
func limitTime(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		ctx, cancel := context.WithTimeout(c.Request().Context(), deadline)
		defer cancel()
		c.SetRequest(c.Request().WithContext(ctx))
		return next(c)
	}
}

// recoverPanic turns a panic into an internal error, so that it is rendered and
// logged like every other.
func recoverPanic(next echo.HandlerFunc) echo.HandlerFunc {
	return middleware.RecoverWithConfig(middleware.RecoverConfig{DisablePrintStack: true})(next)
}

// logRequest writes one line per request; it holds no header and no body.
func (a *API) logRequest(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		begin := a.now()
		err := next(c)
		if err != nil {
			c.Error(err)
		}
		a.log.LogAttrs(c.Request().Context(), slog.LevelInfo, "request",
			slog.String("method", c.Request().Method),
			slog.String("route", c.Path()),
			slog.Int("status", c.Response().Status),
			slog.Int64("bytes", c.Response().Size),
			slog.Duration("took", a.now().Sub(begin)),
			slog.String("request_id", requestID(c)))
		return nil
	}
}

// GetLivez says that the process runs.
func (a *API) GetLivez(c echo.Context) error {
	return send(c, http.StatusOK, map[string]string{"status": "ok"})
}

// GetReadyz says whether requests can be served.
func (a *API) GetReadyz(c echo.Context) error {
	if err := a.reads.Ready(c.Request().Context()); err != nil {
		a.log.LogAttrs(c.Request().Context(), slog.LevelWarn, "not ready", slog.String("error", err.Error()))
		return fault.Overloaded("The database does not answer.")
	}
	return send(c, http.StatusOK, map[string]string{"status": "ok"})
}
