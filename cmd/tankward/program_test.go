package main

import (
	"bufio"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"tankward/repo/pgtest"
)

// served is a program that runs.
type served struct {
	*program
	stop  context.CancelFunc
	ended chan error
}

func serve(t *testing.T, url string, limit time.Duration) served {
	t.Helper()
	w := world{stdout: io.Discard, stderr: io.Discard, clock: clock, newID: newID, random: rand.Reader, log: slog.New(slog.DiscardHandler)}
	p, err := newProgram(t.Context(), url, 0, listening{Addr: "127.0.0.1:0", ShutdownLimit: limit}, w)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	s := served{program: p, stop: stop, ended: make(chan error, 1)}
	ready := make(chan struct{})
	go func() {
		s.ended <- p.Run(ctx, func() error { close(ready); return nil })
	}()
	select {
	case <-ready:
	case err := <-s.ended:
		t.Fatal(err)
	}
	t.Cleanup(func() {
		stop()
		if err := p.Close(context.WithoutCancel(t.Context())); err != nil {
			t.Error(err)
		}
	})
	return s
}

func get(t *testing.T, url, key string) (int, string) {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, url, http.NoBody)
	if err != nil {
		t.Fatal(err)
	}
	if key != "" {
		req.Header.Set("Authorization", "Bearer "+key)
	}
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = res.Body.Close() }()
	body, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	return res.StatusCode, string(body)
}

func TestServe(t *testing.T) {
	t.Parallel()
	url := pgtest.Database(t)
	secret := value(t, must(t, "key", "create", "--database-url", url, "--new-organisation", "Harbour Tanks"), "secret")
	s := serve(t, url, 10*time.Second)
	if code, body := get(t, s.URL()+"/readyz", ""); code != http.StatusOK {
		t.Errorf("/readyz gave %d %s", code, body)
	}
	if code, body := get(t, s.URL()+"/v1/organisation", secret); code != http.StatusOK || !strings.Contains(body, "Harbour Tanks") {
		t.Errorf("/v1/organisation gave %d %s", code, body)
	}
	if code, _ := get(t, s.URL()+"/v1/organisation", ""); code != http.StatusUnauthorized {
		t.Errorf("without a key: %d", code)
	}
	s.stop()
	if err := <-s.ended; err != nil {
		t.Errorf("Run ended with %v", err)
	}
}

// slow is a request whose body is half sent: the service is at it.
type slow struct {
	conn net.Conn
	read *bufio.Reader
	rest string
}

func begin(t *testing.T, s served, secret string) slow {
	t.Helper()
	body := `{"name": "Quayside Dental Practice"}`
	half := len(body) / 2
	var d net.Dialer
	conn, err := d.DialContext(t.Context(), "tcp", s.listener.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	_, err = fmt.Fprintf(conn, "POST /v1/customers HTTP/1.1\r\nHost: tankward\r\nAuthorization: Bearer %s\r\n"+
		"Content-Type: application/json\r\nContent-Length: %d\r\nExpect: 100-continue\r\n\r\n", secret, len(body))
	if err != nil {
		t.Fatal(err)
	}
	c := slow{conn: conn, read: bufio.NewReader(conn), rest: body[half:]}
	// The service says so when it begins to read the body.
	if line, err := c.read.ReadString('\n'); err != nil || !strings.Contains(line, "100 Continue") {
		t.Fatalf("got %q, %v", line, err)
	}
	if _, err := c.read.ReadString('\n'); err != nil {
		t.Fatal(err)
	}
	if _, err := io.WriteString(conn, body[:half]); err != nil {
		t.Fatal(err)
	}
	return c
}

// refusesNew waits until the program takes no new connection.
func refusesNew(t *testing.T, s served) {
	t.Helper()
	var d net.Dialer
	for {
		conn, err := d.DialContext(t.Context(), "tcp", s.listener.Addr().String())
		if err != nil {
			return
		}
		_ = conn.Close()
		select {
		case <-t.Context().Done():
			t.Fatal("new connections are still taken")
		case err := <-s.ended:
			t.Fatalf("Run ended with a request in flight: %v", err)
		case <-time.After(5 * time.Millisecond):
		}
	}
}

func TestRequestsInFlightAreFinished(t *testing.T) {
	t.Parallel()
	url := pgtest.Database(t)
	secret := value(t, must(t, "key", "create", "--database-url", url, "--new-organisation", "Harbour Tanks"), "secret")
	s := serve(t, url, time.Minute)
	c := begin(t, s, secret)
	s.stop()
	refusesNew(t, s)
	if _, err := io.WriteString(c.conn, c.rest); err != nil {
		t.Fatal(err)
	}
	res, err := http.ReadResponse(c.read, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = res.Body.Close() }()
	if res.StatusCode != http.StatusCreated {
		t.Errorf("the request in flight got %s", res.Status)
	}
	if err := <-s.ended; err != nil {
		t.Errorf("Run ended with %v", err)
	}
}

func TestRequestsInFlightHaveALimit(t *testing.T) {
	t.Parallel()
	url := pgtest.Database(t)
	secret := value(t, must(t, "key", "create", "--database-url", url, "--new-organisation", "Harbour Tanks"), "secret")
	s := serve(t, url, 50*time.Millisecond)
	begin(t, s, secret)
	s.stop()
	if err := <-s.ended; !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("Run ended with %v", err)
	}
}

func TestTakenPort(t *testing.T) {
	t.Parallel()
	var l net.ListenConfig
	taken, err := l.Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = taken.Close() }()
	refused(t, exitFailed, "--addr", "serve", "--database-url", pgtest.Database(t), "--addr", taken.Addr().String())
}
