package repo

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"tankward/service/access"
	"tankward/service/fault"
	"tankward/service/fleet"
	"tankward/service/resource"
	"tankward/service/tx"
)

// keyed is a command with an idempotency key that adds one customer.
type keyed struct {
	key    string
	finger byte
	id     uuid.UUID
	before func(context.Context, *Tx) error // runs first, if there is one
	after  func(context.Context, *Tx) error // runs when the customer is stored
	silent bool                             // leaves no trail
}

func (k keyed) run(ctx context.Context, db *DB, s tx.Scope) (tx.Answer, bool, error) {
	return NewRunner(db, func(t *Tx) *Tx { return t }).InTx(ctx, s, k.key, [32]byte{k.finger},
		func(ctx context.Context, t *Tx) (tx.Trail, tx.Answer, error) {
			for _, step := range []func(context.Context, *Tx) error{k.before, k.insert, k.after} {
				if step == nil {
					continue
				}
				if err := step(ctx, t); err != nil {
					return tx.Trail{}, tx.Answer{}, err
				}
			}
			answer := tx.Answer{Status: 201, ETag: `"1"`, Location: "/v1/customers/" + k.id.String(), Body: []byte(k.id.String())}
			if k.silent {
				return tx.Trail{}, answer, nil
			}
			return tx.Did(tx.Change{Resource: "customer", Action: "created", ID: k.id}), answer, nil
		})
}

func (k keyed) insert(ctx context.Context, t *Tx) error {
	_, err := t.Customers().Insert(ctx, resource.Row[fleet.CustomerFields]{
		Meta:   resource.Meta{ID: k.id, Version: 1, CreatedAt: testNow, UpdatedAt: testNow},
		Fields: fleet.CustomerFields{Name: "Quayside"},
	}, [32]byte{})
	return err
}

// rows counts what a statement with the organisation as $1 finds.
func rows(t *testing.T, db *DB, s tx.Scope, from string) int64 {
	t.Helper()
	var n int64
	if err := db.read(t.Context(), s, query{"SELECT count(*) FROM " + from + " WHERE org_id = $1", []any{s.Org}, value(&n)}); err != nil {
		t.Fatal(err)
	}
	return n
}

// traces counts what a command of keyed leaves in every table it writes.
func traces(t *testing.T, db *DB, s tx.Scope) map[string]int64 {
	t.Helper()
	out := map[string]int64{}
	for _, table := range []string{"customer", "change", "audit_entry", "stored_answer"} {
		out[table] = rows(t, db, s, table)
	}
	head, err := db.Head(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	out["head"] = head
	return out
}

// ownerConn connects as the owner of the tables.
func ownerConn(t *testing.T, w *world) *pgx.Conn {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), w.url)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close(context.WithoutCancel(t.Context())) })
	return conn
}

func exec(t *testing.T, conn *pgx.Conn, sql string) {
	t.Helper()
	if _, err := conn.Exec(t.Context(), sql); err != nil {
		t.Fatal(err)
	}
}

func TestRepeatGivesTheSameAnswer(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	k := keyed{key: "one", id: newID()}
	first, repeated, err := k.run(t.Context(), w.db, w.a.Scope)
	if err != nil || repeated {
		t.Fatalf("first: repeated %v, error %v", repeated, err)
	}
	left := traces(t, w.db, w.a.Scope)
	k.before = func(context.Context, *Tx) error { return errors.New("the command ran again") }
	again, repeated, err := k.run(t.Context(), w.db, w.a.Scope)
	if err != nil || !repeated {
		t.Fatalf("again: repeated %v, error %v", repeated, err)
	}
	if diff := cmp.Diff(first, again); diff != "" {
		t.Errorf("answers differ (-first +again):\n%s", diff)
	}
	if diff := cmp.Diff(left, traces(t, w.db, w.a.Scope)); diff != "" {
		t.Errorf("the repeat left something (-before +after):\n%s", diff)
	}
}

func TestKeysOfOthersAreOtherKeys(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	other := w.a.Scope
	other.Actor = newID()
	for _, s := range []tx.Scope{w.a.Scope, other, w.b.Scope} {
		if _, repeated, err := (keyed{key: "same", id: newID()}).run(t.Context(), w.db, s); err != nil || repeated {
			t.Errorf("org %s, actor %s: repeated %v, error %v", s.Org, s.Actor, repeated, err)
		}
	}
}

func TestKeyOfAnotherRequestIsInvalid(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	if _, _, err := (keyed{key: "one", id: newID()}).run(t.Context(), w.db, w.a.Scope); err != nil {
		t.Fatal(err)
	}
	_, _, err := keyed{key: "one", finger: 1, id: newID()}.run(t.Context(), w.db, w.a.Scope)
	wantFault(t, err, fault.Invalid)
	if f := fault.As(err).Fields; len(f) != 1 || f[0].Pointer != "Idempotency-Key" {
		t.Errorf("fields %v do not name the key", f)
	}
}

func TestRefusalKeepsNoAnswer(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	before := traces(t, w.db, w.a.Scope)
	k := keyed{key: "one", id: newID(), after: func(context.Context, *Tx) error { return fault.ConflictWith("no") }}
	_, _, err := k.run(t.Context(), w.db, w.a.Scope)
	wantFault(t, err, fault.Conflict)
	if diff := cmp.Diff(before, traces(t, w.db, w.a.Scope)); diff != "" {
		t.Errorf("the refused command left something (-before +after):\n%s", diff)
	}
	k.after = nil
	if _, repeated, err := k.run(t.Context(), w.db, w.a.Scope); err != nil || repeated {
		t.Errorf("the same key afterwards: repeated %v, error %v", repeated, err)
	}
}

// held starts a command that stays in its transaction until release is called,
// which gives the command's error.
func held(t *testing.T, db *DB, s tx.Scope, k keyed, end error) func() error {
	t.Helper()
	inside, leave, done := make(chan struct{}), make(chan struct{}), make(chan error, 1)
	k.after = func(context.Context, *Tx) error {
		close(inside)
		<-leave
		return end
	}
	go func() {
		_, _, err := k.run(t.Context(), db, s)
		done <- err
	}()
	select {
	case <-inside:
	case err := <-done:
		t.Fatalf("the command ended before it was held: %v", err)
	}
	return func() error {
		close(leave)
		return <-done
	}
}

func TestInFlightIsBusy(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	k := keyed{key: "one", id: newID()}
	release := held(t, w.db, w.a.Scope, k, nil)
	_, _, err := k.run(t.Context(), w.db, w.a.Scope)
	wantFault(t, err, fault.Busy)
	if fault.As(err).RetryAfter <= 0 {
		t.Error("the answer does not say when to try again")
	}
	if err := release(); err != nil {
		t.Fatal(err)
	}
	if _, repeated, err := k.run(t.Context(), w.db, w.a.Scope); err != nil || !repeated {
		t.Errorf("afterwards: repeated %v, error %v", repeated, err)
	}
}

// waiting blocks until a connection of the database waits for a lock.
func waiting(t *testing.T, w *world) {
	t.Helper()
	conn := ownerConn(t, w)
	for {
		var n int
		err := conn.QueryRow(t.Context(), `SELECT count(*) FROM pg_locks WHERE NOT granted`).Scan(&n)
		if err != nil {
			t.Fatal(err)
		}
		if n > 0 {
			return
		}
	}
}

func TestWaiterGoesAheadWhenTheFirstFails(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	k := keyed{key: "one", id: newID()}
	release := held(t, w.db, w.a.Scope, k, fault.Denied("no"))
	type outcome struct {
		repeated bool
		err      error
	}
	second := make(chan outcome, 1)
	go func() {
		_, repeated, err := k.run(t.Context(), w.db, w.a.Scope)
		second <- outcome{repeated, err}
	}()
	waiting(t, w)
	wantFault(t, release(), fault.Forbidden)
	if got := <-second; got.err != nil || got.repeated {
		t.Errorf("the waiter: repeated %v, error %v", got.repeated, got.err)
	}
}

func TestNothingIsLeft(t *testing.T) {
	t.Parallel()
	boom := errors.New("boom")
	for name, c := range map[string]struct {
		after func(cancel func()) error
		check func(*testing.T, error)
	}{
		"error": {
			func(func()) error { return boom },
			func(t *testing.T, err error) {
				t.Helper()
				if !errors.Is(err, boom) {
					t.Errorf("got %v, want the command's error", err)
				}
			},
		},
		"cancelled": {
			func(cancel func()) error { cancel(); return nil },
			func(t *testing.T, err error) {
				t.Helper()
				if !errors.Is(err, context.Canceled) {
					t.Errorf("got %v, want cancelled", err)
				}
			},
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			w := newWorld(t)
			before := traces(t, w.db, w.a.Scope)
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			k := keyed{key: "one", id: newID(), after: func(context.Context, *Tx) error { return c.after(cancel) }}
			_, _, err := k.run(ctx, w.db, w.a.Scope)
			c.check(t, err)
			if diff := cmp.Diff(before, traces(t, w.db, w.a.Scope)); diff != "" {
				t.Errorf("left (-before +after):\n%s", diff)
			}
		})
	}
}

func TestPanicRollsBack(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	before := traces(t, w.db, w.a.Scope)
	func() {
		defer func() {
			if got := recover(); got != "boom" {
				t.Errorf("recovered %v, want the panic passed on", got)
			}
		}()
		k := keyed{key: "one", id: newID(), after: func(context.Context, *Tx) error { panic("boom") }}
		_, _, _ = k.run(t.Context(), w.db, w.a.Scope)
	}()
	if n := w.db.pool.Stat().AcquiredConns(); n != 0 {
		t.Errorf("the panic kept %d connections", n)
	}
	if diff := cmp.Diff(before, traces(t, w.db, w.a.Scope)); diff != "" {
		t.Errorf("left (-before +after):\n%s", diff)
	}
}

func TestFailingCommitLeavesNothing(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	// This database alone refuses, at the commit, a customer of this name.
	exec(t, ownerConn(t, w), `
		CREATE FUNCTION refuse() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'refused at the commit'; END $$;
		CREATE CONSTRAINT TRIGGER refuse AFTER INSERT ON customer
			DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION refuse();
		CREATE CONSTRAINT TRIGGER refuse AFTER INSERT ON member
			DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION refuse()`)
	w.db.flushNews() // what was announced before is out
	before := traces(t, w.db, w.a.Scope)
	_, _, err := keyed{key: "one", id: newID()}.run(t.Context(), w.db, w.a.Scope)
	if err == nil || !strings.Contains(err.Error(), "commit") {
		t.Fatalf("got %v, want the commit to fail", err)
	}
	if diff := cmp.Diff(before, traces(t, w.db, w.a.Scope)); diff != "" {
		t.Errorf("left (-before +after):\n%s", diff)
	}
	err = command(t.Context(), w.db, w.a.Scope, func(ctx context.Context, x *Tx) (tx.Trail, error) {
		_, err := x.Members().Insert(ctx, access.Member{
			Meta:   resource.Meta{ID: newID(), Version: 1, CreatedAt: testNow, UpdatedAt: testNow},
			Fields: w.a.owner.Fields,
		}, [32]byte{})
		return tx.Did(tx.Change{Resource: "member", Action: "created"}), err
	})
	if err == nil || len(w.db.news.orgs) != 0 {
		t.Errorf("error %v; other replicas would be told of what never was: %v", err, w.db.news.orgs)
	}
}

func TestDeadlockIsTriedAgain(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ids := [2]uuid.UUID{addCustomer(t, w, w.a.Scope).ID, addCustomer(t, w, w.a.Scope).ID}
	have := [2]chan struct{}{make(chan struct{}, 10), make(chan struct{}, 10)}
	tries, errs := make(chan int, 2), make(chan error, 2)
	for me := range 2 {
		go func() {
			n := 0
			errs <- command(t.Context(), w.db, w.a.Scope, func(ctx context.Context, x *Tx) (tx.Trail, error) {
				n++
				if _, err := x.Customers().Load(ctx, ids[me]); err != nil {
					return tx.Trail{}, err
				}
				if n == 1 { // the first time each takes the row the other wants next
					have[me] <- struct{}{}
					<-have[1-me]
				}
				_, err := x.Customers().Load(ctx, ids[1-me])
				return tx.Trail{}, err
			})
			tries <- n
		}()
	}
	if err := errors.Join(<-errs, <-errs); err != nil {
		t.Errorf("a deadlock reached the caller: %v", err)
	}
	if n := <-tries + <-tries; n < 3 {
		t.Errorf("%d tries, want 3 or more: one command loses at least once", n)
	}
}

func TestConflictsAreTriedAFewTimes(t *testing.T) {
	t.Parallel()
	const fail = `DO $$ BEGIN RAISE EXCEPTION 'conflict' USING ERRCODE = '40001'; END $$`
	for failing, want := range map[int]int{0: 1, 1: 2, 4: 5, 9: 5} {
		t.Run(fmt.Sprint(failing), func(t *testing.T) {
			t.Parallel()
			w := newWorld(t)
			tries := 0
			k := keyed{key: "one", id: newID(), after: func(ctx context.Context, x *Tx) error {
				tries++
				if tries <= failing {
					_, err := x.tx.Exec(ctx, fail)
					return translate("fail", err)
				}
				return nil
			}}
			_, _, err := k.run(t.Context(), w.db, w.a.Scope)
			if (err != nil) != (failing >= greatestTries) {
				t.Errorf("got error %v", err)
			}
			if tries != want {
				t.Errorf("%d tries, want %d", tries, want)
			}
			if n := rows(t, w.db, w.a.Scope, "customer"); n != 0 && err != nil || n != 1 && err == nil {
				t.Errorf("%d customers with error %v", n, err)
			}
		})
	}
}

func TestRetryEndsWithItsCaller(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx, cancel := context.WithCancel(t.Context())
	tries := 0
	k := keyed{id: newID(), after: func(ctx context.Context, x *Tx) error {
		tries++
		_, err := x.tx.Exec(ctx, `DO $$ BEGIN RAISE EXCEPTION 'conflict' USING ERRCODE = '40001'; END $$`)
		cancel()
		return err
	}}
	_, _, err := k.run(ctx, w.db, w.a.Scope)
	if err == nil || tries != 1 {
		t.Errorf("%d tries for a caller who has gone; error %v", tries, err)
	}
}

func TestNestedCommandIsRefused(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	err := command(t.Context(), w.db, w.a.Scope, func(ctx context.Context, _ *Tx) (tx.Trail, error) {
		return tx.Trail{}, command(ctx, w.db, w.a.Scope, func(context.Context, *Tx) (tx.Trail, error) {
			t.Error("the inner command ran")
			return tx.Trail{}, nil
		})
	})
	if err == nil || fault.As(err) != nil {
		t.Errorf("got %v, want an internal error", err)
	}
}

func TestChangeWithoutEntryFails(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	before := traces(t, w.db, w.a.Scope)
	_, _, err := keyed{id: newID(), silent: true}.run(t.Context(), w.db, w.a.Scope)
	if err == nil || !strings.Contains(err.Error(), "table customer") {
		t.Errorf("got %v, want the table named", err)
	}
	if diff := cmp.Diff(before, traces(t, w.db, w.a.Scope)); diff != "" {
		t.Errorf("left (-before +after):\n%s", diff)
	}
	// An entry for one resource does not cover another.
	err = command(t.Context(), w.db, w.a.Scope, func(ctx context.Context, x *Tx) (tx.Trail, error) {
		return tx.Did(tx.Change{Resource: "site", Action: "created", ID: newID()}), keyed{id: newID()}.insert(ctx, x)
	})
	if err == nil {
		t.Error("a customer went in under the entry of a site")
	}
}

func TestCommandThatChangesNothingLeavesNoTrail(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	before := traces(t, w.db, w.a.Scope)
	must(t, w.db, w.a.Scope, func(context.Context, *Tx) (tx.Trail, error) { return tx.Trail{}, nil })
	if diff := cmp.Diff(before, traces(t, w.db, w.a.Scope)); diff != "" {
		t.Errorf("left (-before +after):\n%s", diff)
	}
}

func TestJobsNeedAQueue(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	err := command(t.Context(), w.db, w.a.Scope, func(context.Context, *Tx) (tx.Trail, error) {
		return tx.Trail{Jobs: []tx.Job{{Kind: "sweep_answers"}}}, nil
	})
	if err == nil {
		t.Error("a job was lost without a word")
	}
}
