package repo

import (
	"context"
	"errors"
	"testing"

	"github.com/jackc/pgx/v5"

	"tankward/service/fault"
)

// A read that fails, wherever it fails, leaves a connection that can be used, is
// in no transaction and is bound to no organisation.
func TestFailedReadLeavesTheConnectionUsable(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	var n int64
	ok := query{`SELECT count(*) FROM member WHERE org_id = $1`, []any{w.a.Org}, value(&n)}
	refused := errors.New("refused")
	for name, queries := range map[string][]query{
		"in the database":       {ok, {`SELECT 1 / ($1::bigint - $1::bigint)`, []any{int64(1)}, value(&n)}, ok},
		"first in the database": {{`SELECT 1 / ($1::bigint - $1::bigint)`, []any{int64(1)}, value(&n)}, ok},
		"when prepared":         {ok, {`SELECT nothing FROM nowhere`, nil, value(&n)}},
		"too few parameters":    {ok, {`SELECT $1::bigint + $2::bigint`, []any{int64(1)}, value(&n)}},
		"parameter of no use":   {ok, {`SELECT $1::uuid`, []any{"no uuid"}, value(&n)}},
		"no row":                {{`SELECT 1::bigint WHERE $1::uuid IS NULL`, []any{w.a.Org}, value(&n)}, ok},
		"other columns":         {ok, {`SELECT 1 AS one`, nil, into(&[]int{}, func(r struct{ Two int }) int { return r.Two })}},
		"when taken":            {{`SELECT generate_series(1, 100000) AS n`, nil, func(pgx.Rows) error { return refused }}, ok},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			pool := oneConn(t, w)
			db := &DB{pool: pool, clock: testOptions().Clock, newID: newID}
			pid := func() uint32 {
				conn, err := pool.Acquire(t.Context())
				if err != nil {
					t.Fatal(err)
				}
				defer conn.Release()
				if s := conn.Conn().PgConn().TxStatus(); s != 'I' {
					t.Errorf("the connection is in state %c", s)
				}
				return conn.Conn().PgConn().PID()
			}
			before := pid()
			if err := db.read(t.Context(), w.a.Scope, queries...); err == nil {
				t.Fatal("the read went well")
			}
			if after := pid(); after != before {
				t.Error("the connection was thrown away")
			}
			if sees(t, pool, "member", "") != 0 {
				t.Error("the connection is still bound")
			}
			if err := db.read(t.Context(), w.a.Scope, ok); err != nil || n != 1 {
				t.Errorf("the next read: %d members, %v", n, err)
			}
		})
	}
}

func TestReadCannotWrite(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	var n int64
	err := w.db.read(t.Context(), w.a.Scope, query{
		`WITH gone AS (DELETE FROM stored_answer RETURNING 1) SELECT count(*) FROM gone`, nil, value(&n),
	})
	if !isCode(err, "25006") {
		t.Errorf("got %v, want that the transaction is read-only", err)
	}
}

func TestCancelledReadIsNoFaultOfTheDatabase(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	var n int64
	err := w.db.read(ctx, w.a.Scope, query{`SELECT count(*) FROM member`, nil, value(&n)})
	if !errors.Is(err, context.Canceled) || fault.As(err) != nil {
		t.Errorf("got %v", err)
	}
	if got := rows(t, w.db, w.a.Scope, "member"); got != 1 {
		t.Errorf("afterwards %d members are read", got)
	}
}

func TestCursor(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	for range 4 {
		addMember(t, w, w.a.Scope)
	}
	for _, c := range []string{"!", "AAAA", encodeCursor(newID()) + "AA"} {
		_, err := decodeCursor(c)
		wantFault(t, err, fault.BadRequest)
	}
}
