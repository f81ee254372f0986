package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"sync"
	"time"

	"github.com/google/uuid"

	"tankward/api"
	"tankward/repo"
	"tankward/repo/queue"
	"tankward/service/access"
	"tankward/service/fleet"
	"tankward/service/stock"
	"tankward/service/sweep"
	"tankward/service/tx"
	"tankward/service/visits"
	"tankward/service/work"
)

// services are the use cases on one database.
type services struct {
	db     *repo.DB
	access *access.Service
	fleet  *fleet.Service
	stock  *stock.Service
	work   *work.Service
	visits *visits.Service
}

// openServices connects to a prepared database.
func openServices(ctx context.Context, url string, maxConns int32, w world) (*services, error) {
	db, err := repo.Open(ctx, url, repo.Options{MaxConns: maxConns, Clock: w.clock, NewID: w.newID})
	if err == nil {
		// Any table will do to see whether there are tables.
		if _, err = db.Head(ctx, tx.Scope{}); err != nil {
			db.Close()
		}
	}
	if err != nil {
		return nil, fmt.Errorf("open the database (a new one has to be prepared first: tankward migrate up): %w", err)
	}
	s := &services{db: db}
	s.access = access.New(access.Config{
		Run: repo.NewRunner(db, func(t *repo.Tx) access.Tx { return t }), Reads: db, Random: w.random, Clock: w.clock, Log: w.log,
	})
	s.fleet = fleet.New(repo.NewRunner(db, func(t *repo.Tx) fleet.Tx { return t }))
	s.stock = stock.New(repo.NewRunner(db, func(t *repo.Tx) stock.Tx { return t }), db, w.newID)
	s.work = work.New(repo.NewRunner(db, func(t *repo.Tx) work.Tx { return t }), db, w.newID)
	s.visits = visits.New(repo.NewRunner(db, func(t *repo.Tx) visits.Tx { return t }), db, s.work, w.newID)
	return s, nil
}

// program serves the API until it is told to stop.
type program struct {
	*services
	queue    *queue.Queue
	server   *http.Server
	listener net.Listener
	limit    time.Duration
	log      *slog.Logger
	closed   sync.Once
}

// newProgram opens everything, also the port; nothing is served before Run.
func newProgram(ctx context.Context, url string, maxConns int32, l listening, w world) (*program, error) {
	s, err := openServices(ctx, url, maxConns, w)
	if err != nil {
		return nil, err
	}
	p := &program{services: s, limit: l.ShutdownLimit, log: w.log}
	if err := p.open(ctx, url, l, w); err != nil {
		return nil, errors.Join(err, p.Close(ctx))
	}
	return p, nil
}

func (p *program) open(ctx context.Context, url string, l listening, w world) error {
	handler, err := api.New(api.Config{
		Reads: p.db, Access: p.access, Fleet: p.fleet, FleetReads: p.db, Stock: p.stock, StockReads: p.db,
		Work: p.work, WorkReads: p.db, Visits: p.visits, Now: w.clock, NewID: w.newID, Log: w.log,
	})
	if err != nil {
		return fmt.Errorf("wire the API: %w", err)
	}
	p.server = api.NewHTTPServer(handler)
	p.server.ErrorLog = slog.NewLogLogger(w.log.Handler(), slog.LevelWarn)
	p.queue, err = queue.Open(ctx, url, queue.Use{
		SweepAnswers: func(ctx context.Context, after uuid.UUID, goOn func() bool) (sweep.Progress, error) {
			return sweep.Answers(ctx, p.db, after, w.clock(), goOn)
		},
		ReadingMonths: func(ctx context.Context) error { return sweep.ReadingMonths(ctx, p.db, fleet.Today("UTC", w.clock())) },
	}, queue.Options{Clock: w.clock, Log: w.log})
	if err != nil {
		return fmt.Errorf("open the job queue: %w", err)
	}
	p.db.UseQueue(p.queue)
	var listen net.ListenConfig
	if p.listener, err = listen.Listen(ctx, "tcp", l.Addr); err != nil {
		return fmt.Errorf("listen on %s (--addr chooses another address): %w", l.Addr, err)
	}
	return nil
}

// URL is where the program can be reached from this machine.
func (p *program) URL() string {
	host, port, err := net.SplitHostPort(p.listener.Addr().String())
	if err != nil {
		return "http://" + p.listener.Addr().String()
	}
	if ip := net.ParseIP(host); ip != nil && ip.IsUnspecified() {
		host = "127.0.0.1"
	}
	return "http://" + net.JoinHostPort(host, port)
}

// Run serves until ctx ends, then takes no more requests and lets those in
// flight finish, but not longer than the limit. serving is called once requests
// are answered; it may be nil.
func (p *program) Run(ctx context.Context, serving func() error) error {
	watch, stopWatch := context.WithCancel(context.WithoutCancel(ctx))
	var watching sync.WaitGroup
	watching.Go(func() { p.db.WatchKeys(watch, p.access, p.log) })
	defer watching.Wait()
	defer stopWatch()
	if err := p.queue.Start(ctx); err != nil {
		return err
	}
	failed := make(chan error, 1)
	go func() { failed <- p.server.Serve(p.listener) }()
	p.log.InfoContext(ctx, "serving", "url", p.URL())
	if serving != nil {
		if err := serving(); err != nil {
			return errors.Join(err, p.shutDown(ctx))
		}
	}
	select {
	case err := <-failed:
		return fmt.Errorf("serve: %w", err)
	case <-ctx.Done():
	}
	return p.shutDown(ctx)
}

func (p *program) shutDown(ctx context.Context) error {
	p.log.InfoContext(ctx, "stopping: requests in flight are finished", "limit", p.limit.String())
	limited, cancel := context.WithTimeout(context.WithoutCancel(ctx), p.limit)
	defer cancel()
	if err := p.server.Shutdown(limited); err != nil {
		return errors.Join(fmt.Errorf("requests were still in flight after %s: %w", p.limit, err), p.server.Close())
	}
	return nil
}

// Close lets running jobs end and closes the connections. It works after Run
// and instead of it; calling it again does nothing.
func (p *program) Close(ctx context.Context) error {
	var errs []error
	p.closed.Do(func() {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), max(p.limit, time.Second))
		defer cancel()
		if p.listener != nil {
			// Serve closes it too; then this says so and means nothing.
			_ = p.listener.Close()
		}
		if p.queue != nil {
			errs = append(errs, p.queue.Stop(ctx))
		}
		p.db.Close()
	})
	return errors.Join(errs...)
}
