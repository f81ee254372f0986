// Package pgtest gives tests a real Postgres: one server for each test package,
// one database for each test. It is for tests only.
//
// The server is found as the demo finds one (TANKWARD_DATABASE_URL, binaries on
// the machine, a download), or run in a container with
// TANKWARD_TEST_POSTGRES=docker. Without any, tests fail and say what would help.
package pgtest

import (
	"context"
	"fmt"
	"os"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

const (
	startLimit = 3 * time.Minute
	stopLimit  = time.Minute
	callLimit  = time.Minute
)

// shared is the server of this test package. It starts with the first test that
// asks, so that a run without such tests needs no Postgres.
var shared = struct {
	migrate func(ctx context.Context, url string) error
	once    sync.Once
	server  *server
	err     error
	number  atomic.Int64
}{}

// Main is for TestMain: it runs the tests, stops the server and exits. The
// template that every test's database is copied from is made by migrate.
func Main(m *testing.M, migrate func(ctx context.Context, url string) error) {
	shared.migrate = migrate
	code := m.Run()
	if shared.server != nil {
		ctx, cancel := context.WithTimeout(context.Background(), stopLimit)
		if err := shared.server.close(ctx); err != nil {
			fmt.Fprintln(os.Stderr, "pgtest: stop the server:", err)
			code = max(code, 1)
		}
		cancel()
	}
	os.Exit(code)
}

// Database makes a migrated database for this test alone and gives its URL, for
// the role that owns it. It is dropped when the test ends.
func Database(tb testing.TB) string {
	tb.Helper()
	s := open(tb)
	return fresh(tb, s, s.template)
}

// EmptyDatabase is Database before any migration.
func EmptyDatabase(tb testing.TB) string {
	tb.Helper()
	return fresh(tb, open(tb), "template0")
}

func open(tb testing.TB) *server {
	tb.Helper()
	shared.once.Do(func() {
		ctx, cancel := context.WithTimeout(context.Background(), startLimit)
		defer cancel()
		shared.server, shared.err = newServer(ctx, environment(), shared.migrate)
	})
	if shared.err != nil {
		tb.Fatalf("pgtest: %v", shared.err)
	}
	return shared.server
}

func fresh(tb testing.TB, s *server, template string) string {
	tb.Helper()
	name := fmt.Sprintf("%s_%d", s.template, shared.number.Add(1))
	ctx, cancel := context.WithTimeout(tb.Context(), callLimit)
	defer cancel()
	if err := s.create(ctx, name, template); err != nil {
		tb.Fatalf("pgtest: %v", err)
	}
	tb.Cleanup(func() {
		// The test's own context has ended by now.
		ctx, cancel := context.WithTimeout(context.WithoutCancel(tb.Context()), callLimit)
		defer cancel()
		if err := s.drop(ctx, name); err != nil {
			tb.Errorf("pgtest: %v", err)
		}
	})
	dsn, err := withDatabase(s.url, name)
	if err != nil {
		tb.Fatalf("pgtest: %v", err)
	}
	return dsn
}

// settings is what the environment says.
type settings struct {
	url   string // TANKWARD_DATABASE_URL
	way   string // TANKWARD_TEST_POSTGRES: empty or "docker"
	image string // TANKWARD_TEST_IMAGE
}

func environment() settings {
	s := settings{
		url:   os.Getenv("TANKWARD_DATABASE_URL"),
		way:   os.Getenv("TANKWARD_TEST_POSTGRES"),
		image: os.Getenv("TANKWARD_TEST_IMAGE"),
	}
	if s.image == "" {
		s.image = "postgres:16-alpine"
	}
	return s
}
