package repo

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"math/big"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"tankward/service/fault"
	"tankward/service/fleet"
	"tankward/service/tx"
)

// Tx offers what commands load and save, bound to one organisation. Its
// methods stand in the file of their aggregate.
type Tx struct {
	tx    pgx.Tx
	org   uuid.UUID
	actor uuid.UUID
}

var _ fleet.Tx = (*Tx)(nil)

// Runner runs commands on a DB, offering them T.
type Runner[T any] struct {
	db    *DB
	offer func(*Tx) T
}

// NewRunner makes a runner whose commands see a transaction as offer gives it.
func NewRunner[T any](db *DB, offer func(*Tx) T) *Runner[T] {
	return &Runner[T]{db: db, offer: offer}
}

const greatestTries = 5

// InTx implements tx.Runner: conflicts between transactions, and commands that
// ask for it, are tried again a few times, as long as the caller still waits.
func (r *Runner[T]) InTx(ctx context.Context, s tx.Scope, key string, fingerprint [32]byte,
	f func(context.Context, T) (tx.Trail, tx.Answer, error),
) (tx.Answer, bool, error) {
	for try := 1; ; try++ {
		answer, repeated, err := r.once(ctx, s, key, fingerprint, f)
		again := errors.Is(err, tx.ErrAgain) || isCode(err, serializationFail, deadlockDetected)
		if !again || try == greatestTries {
			return answer, repeated, translate("command", err)
		}
		select {
		case <-ctx.Done():
			return tx.Answer{}, false, translate("wait for another try", ctx.Err())
		case <-time.After(pauseBefore(try)):
		}
	}
}

// pauseBefore waits longer with each try and never the same for two callers.
func pauseBefore(try int) time.Duration {
	n, err := rand.Int(rand.Reader, big.NewInt(int64(10*time.Millisecond)<<try))
	if err != nil {
		return 10 * time.Millisecond
	}
	return time.Duration(n.Int64())
}

type nestedKey struct{}

func (r *Runner[T]) once(ctx context.Context, s tx.Scope, key string, fingerprint [32]byte,
	f func(context.Context, T) (tx.Trail, tx.Answer, error),
) (tx.Answer, bool, error) {
	if ctx.Value(nestedKey{}) != nil {
		return tx.Answer{}, false, errors.New("a command may not run inside another command's transaction")
	}
	ctx = context.WithValue(ctx, nestedKey{}, true)
	begin := "BEGIN; " + bind(s.Org)
	if key != "" {
		begin += "; SET LOCAL lock_timeout = '2s'"
	}
	pgtx, err := r.db.pool.BeginTx(ctx, pgx.TxOptions{BeginQuery: begin})
	if err != nil {
		return tx.Answer{}, false, fmt.Errorf("begin: %w", err)
	}
	defer rollback(ctx, pgtx)
	t := &Tx{tx: pgtx, org: s.Org, actor: s.Actor}
	last := finishing{scope: s, key: key}
	if r.db.verify {
		if last.before, err = t.touched(ctx); err != nil {
			return tx.Answer{}, false, err
		}
	}
	if key != "" {
		kept, found, err := t.claimKey(ctx, s, key, fingerprint, r.db.clock())
		if err != nil || found {
			return kept, found, err
		}
	}
	if last.trail, last.answer, err = f(ctx, r.offer(t)); err != nil {
		return tx.Answer{}, false, err
	}
	if err := r.db.finish(ctx, t, last); err != nil {
		return tx.Answer{}, false, err
	}
	if err := pgtx.Commit(ctx); err != nil {
		return tx.Answer{}, false, commitFault(err)
	}
	r.db.announce(s.Org, last.trail.Changes)
	return last.answer, false, nil
}

// rollbackLimit bounds the wait for a database that may have gone.
const rollbackLimit = 5 * time.Second

// rollback works also when the caller has gone; after a commit it does nothing.
func rollback(ctx context.Context, t pgx.Tx) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), rollbackLimit)
	defer cancel()
	_ = t.Rollback(ctx)
}

// claimKey takes the idempotency key or gives the answer that is kept for it.
func (t *Tx) claimKey(ctx context.Context, s tx.Scope, key string, fingerprint [32]byte, now time.Time) (tx.Answer, bool, error) {
	b := &pgx.Batch{}
	var claimed int64
	b.Queue(`
		INSERT INTO stored_answer (org_id, actor_id, key, fingerprint, created_at)
		VALUES ($1, $2, $3, $4, $5)
		ON CONFLICT DO NOTHING`,
		t.org, s.Actor, key, fingerprint[:], now,
	).Exec(func(ct commandTag) error {
		claimed = ct.RowsAffected()
		return nil
	})
	b.Queue("SET LOCAL lock_timeout = 0")
	if err := t.tx.SendBatch(ctx, b).Close(); err != nil {
		if isCode(err, lockNotAvailable) {
			return tx.Answer{}, false, fault.InFlight()
		}
		return tx.Answer{}, false, fmt.Errorf("claim the key: %w", err)
	}
	if claimed == 1 {
		return tx.Answer{}, false, nil
	}
	var kept tx.Answer
	var was []byte
	err := t.tx.QueryRow(ctx, `
		SELECT
			fingerprint,
			status,
			etag,
			location,
			body
		FROM stored_answer
		WHERE org_id = $1 AND actor_id = $2 AND key = $3`,
		t.org, s.Actor, key).Scan(&was, &kept.Status, &kept.ETag, &kept.Location, &kept.Body)
	if err != nil {
		return tx.Answer{}, false, fmt.Errorf("load the kept answer: %w", err)
	}
	if string(was) != string(fingerprint[:]) {
		return tx.Answer{}, false, fault.InvalidField("Idempotency-Key",
			"was used before for another request; a new request needs a new key")
	}
	return kept, true, nil
}

// maintain runs one statement that no caller asked for, bound to an organisation,
// and gives how many rows it changed. It leaves no trail: it may only touch what
// the service keeps for itself, such as stored answers.
func (db *DB) maintain(ctx context.Context, org uuid.UUID, sql string, args ...any) (int64, error) {
	pgtx, err := db.pool.BeginTx(ctx, pgx.TxOptions{BeginQuery: "BEGIN; " + bind(org)})
	if err != nil {
		return 0, translate("begin", err)
	}
	defer rollback(ctx, pgtx)
	tag, err := pgtx.Exec(ctx, sql, args...)
	if err != nil {
		return 0, translate("maintain", err)
	}
	return tag.RowsAffected(), translate("commit", pgtx.Commit(ctx))
}

// Together runs f in a transaction of a bare pool, bound to no organisation: for
// the job queue's own tables.
func Together(ctx context.Context, pool *pgxpool.Pool, f func(pgx.Tx) error) error {
	return pgx.BeginFunc(ctx, pool, f)
}
