package repo

import (
	"context"
	"log/slog"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"tankward/service/access"
	"tankward/service/fault"
	"tankward/service/tx"
)

// heard passes on what a watch says; an organisation, or Nil for everything.
type heard struct {
	access *access.Service
	news   chan uuid.UUID
}

func (h *heard) ForgetKeys(org uuid.UUID) {
	h.access.ForgetKeys(org)
	h.news <- org
}

func (h *heard) ForgetAllKeys() {
	h.access.ForgetAllKeys()
	h.news <- uuid.Nil
}

// next gives what was heard next.
func (h *heard) next(t *testing.T) uuid.UUID {
	t.Helper()
	select {
	case org := <-h.news:
		return org
	case <-time.After(30 * time.Second):
		t.Fatal("nothing was heard in 30 s")
		return uuid.Nil
	}
}

// replica is a second process on the same database, watching.
func replica(t *testing.T, w *world) *heard {
	t.Helper()
	db := openDB(t, w.url)
	h := &heard{access: accessOn(db), news: make(chan uuid.UUID, 1000)}
	ctx, cancel := context.WithCancel(t.Context())
	var done sync.WaitGroup
	done.Go(func() { db.WatchKeys(ctx, h, slog.New(slog.DiscardHandler)) })
	t.Cleanup(func() {
		cancel()
		done.Wait()
	})
	if org := h.next(t); org != uuid.Nil {
		t.Fatalf("the watch began with %s", org)
	}
	return h
}

func TestRevokedKeyIsRefusedOnAnotherReplica(t *testing.T) {
	t.Parallel()
	for name, end := range map[string]func(*testing.T, *world, access.NewKey) error{
		"revoked": func(t *testing.T, w *world, k access.NewKey) error {
			t.Helper()
			_, err := accessOn(w.db).RevokeKey(t.Context(), tx.Call[access.AccessKey]{Scope: w.a.Scope, Now: testNow}, k.Key.ID, 0)
			return err
		},
		"member archived": func(t *testing.T, w *world, k access.NewKey) error {
			t.Helper()
			_, err := accessOn(w.db).ArchiveMember(t.Context(), tx.Call[access.Member]{Scope: w.a.Scope, Now: testNow}, k.Key.Fields.MemberID, 0)
			return err
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			w := newWorld(t)
			k := addKey(t, w, w.a.Scope, addMember(t, w, w.a.Scope).ID)
			w.db.flushNews() // what follows is new
			h := replica(t, w)
			if _, err := h.access.Authenticate(t.Context(), k.Secret); err != nil {
				t.Fatal(err)
			}
			if err := end(t, w, k); err != nil {
				t.Fatal(err)
			}
			if org := h.next(t); org != w.a.Org {
				t.Fatalf("heard of %s, want %s", org, w.a.Org)
			}
			_, err := h.access.Authenticate(t.Context(), k.Secret)
			wantFault(t, err, fault.Unauthenticated)
		})
	}
}

func TestOnlyNewsOfKeysIsSent(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.db.flushNews()
	h := replica(t, w)
	addCustomer(t, w, w.a.Scope)
	for range 2 {
		addMember(t, w, w.b.Scope)
		w.db.flushNews()
		if org := h.next(t); org != w.b.Org {
			t.Errorf("heard of %s, want only %s", org, w.b.Org)
		}
	}
}

func TestWatchBeginsAgain(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.db.flushNews()
	h := replica(t, w)
	for range 2 {
		exec(t, ownerConn(t, w), `
			SELECT pg_terminate_backend(pid)
			FROM pg_stat_activity
			WHERE datname = current_database() AND query LIKE 'LISTEN%'`)
		for _, what := range []string{"breaking off", "beginning again"} {
			if org := h.next(t); org != uuid.Nil {
				t.Fatalf("%s: heard of %s, want that everything be forgotten", what, org)
			}
		}
		addMember(t, w, w.a.Scope)
		if org := h.next(t); org != w.a.Org {
			t.Fatalf("heard of %s", org)
		}
	}
}

func TestCloseSendsWhatIsWaiting(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.db.flushNews()
	h := replica(t, w)
	short := *w
	var err error
	if short.db, err = Open(t.Context(), w.url, testOptions()); err != nil {
		t.Fatal(err)
	}
	addMember(t, &short, w.a.Scope)
	short.db.Close()
	if n := len(short.db.news.orgs); n != 0 {
		t.Errorf("%d organisations are waiting still", n)
	}
	if org := h.next(t); org != w.a.Org {
		t.Errorf("heard of %s", org)
	}
}

func TestNewsIsGathered(t *testing.T) {
	t.Parallel()
	var n news
	a, b := newID(), newID()
	for range 100 {
		n.add(a, time.Hour, func() {})
		n.add(b, time.Hour, func() {})
	}
	if got := n.take(); len(got) != 2 {
		t.Errorf("200 changes of two organisations make %d pieces of news", len(got))
	}
	if got := n.take(); len(got) != 0 {
		t.Errorf("taken again: %v", got)
	}
}

// News that could not be sent is sent again, but not for ever.
func TestFailedNewsIsTriedAgain(t *testing.T) {
	t.Parallel()
	var n news
	sent := 1
	for !n.giveUp(true) {
		sent++
	}
	if sent != sendTries {
		t.Errorf("given up after %d tries, want %d", sent, sendTries)
	}
	n.giveUp(true)
	n.giveUp(false)
	if n.tries != 0 {
		t.Error("a success does not start the count afresh")
	}
}
