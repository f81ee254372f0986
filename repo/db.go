// Package repo stores everything in Postgres and knows no rule of the job. One
// file holds the statements of one aggregate; this file holds the pool.
package repo

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"tankward/service/fleet"
)

// appRole is the role every connection takes on. It owns nothing and cannot
// see past row security.
const appRole = "tankward_app"

// DB reads and writes as the application's role. It is safe for concurrent use.
type DB struct {
	pool *pgxpool.Pool
	// verify makes every transaction compare what it touched with its trail.
	verify bool
	queue  JobInserter
	clock  func() time.Time
	newID  func() uuid.UUID
	news   news
}

var _ fleet.Reads = (*DB)(nil)

// JobInserter puts jobs into the queue inside a command's transaction.
type JobInserter interface {
	InsertTx(ctx context.Context, t pgx.Tx, kind string, args any) error
}

// Options tune a DB.
type Options struct {
	MaxConns int32
	// Clock and NewID stamp the trail; both are required.
	Clock func() time.Time
	NewID func() uuid.UUID
	// VerifyTrail makes a command fail that changes a table without an entry in
	// its trail. Tests switch it on.
	VerifyTrail bool
}

// Open connects to url, takes on the application's role and refuses to go on
// when that role could see past the wall between organisations.
func Open(ctx context.Context, url string, o Options) (*DB, error) {
	pool, err := OpenPool(ctx, url, o.MaxConns)
	if err != nil {
		return nil, err
	}
	return &DB{pool: pool, verify: o.VerifyTrail, clock: o.Clock, newID: o.NewID}, nil
}

// OpenPool is Open for the bare connections, which the job queue needs; zero
// maxConns leaves their number to the driver.
func OpenPool(ctx context.Context, url string, maxConns int32) (*pgxpool.Pool, error) {
	cfg, err := pgxpool.ParseConfig(url)
	if err != nil {
		return nil, fmt.Errorf("read the database address: %w", err)
	}
	if maxConns > 0 {
		cfg.MaxConns = maxConns
	}
	cfg.ConnConfig.RuntimeParams["application_name"] = "tankward"
	cfg.AfterConnect = func(ctx context.Context, c *pgx.Conn) error {
		_, err := c.Exec(ctx, "SET ROLE "+appRole)
		return err
	}
	pool, err := pgxpool.NewWithConfig(ctx, cfg)
	if err != nil {
		return nil, fmt.Errorf("open the pool: %w", err)
	}
	if err := checkRole(ctx, pool); err != nil {
		pool.Close()
		return nil, err
	}
	return pool, nil
}

// Close sends what other replicas have not been told yet, so that a program that
// changes one key and ends is heard. It waits for connections in use and closes
// the pool.
func (db *DB) Close() {
	db.news.close()
	db.flushNews()
	db.pool.Close()
}

// UseQueue makes jobs of later commands go into q.
func (db *DB) UseQueue(q JobInserter) { db.queue = q }

// Ready says whether the database answers.
func (db *DB) Ready(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, 2*time.Second)
	defer cancel()
	return db.pool.Ping(ctx)
}

func checkRole(ctx context.Context, pool *pgxpool.Pool) error {
	past, err := seesPast(ctx, pool, "")
	if err != nil {
		return err
	}
	if past {
		return errors.New("the database role sees past the wall between organisations " +
			"(superuser, BYPASSRLS, or owner of a table): run `tankward migrate up`, which makes the role " + appRole)
	}
	return nil
}

// seesPast says whether row security does not hold for a role; empty means the
// current one.
func seesPast(ctx context.Context, pool *pgxpool.Pool, role string) (bool, error) {
	var past bool
	err := pool.QueryRow(ctx, `
		SELECT
			r.rolsuper
			OR r.rolbypassrls
			OR EXISTS (
				SELECT 1
				FROM pg_class c
				JOIN pg_attribute a ON a.attrelid = c.oid AND a.attname = 'org_id'
				WHERE c.relnamespace = 'public'::regnamespace AND c.relowner = r.oid
			)
		FROM pg_roles r
		WHERE r.rolname = coalesce(nullif($1, ''), current_user)`, role).Scan(&past)
	if err != nil {
		return false, fmt.Errorf("look up the database role: %w", err)
	}
	return past, nil
}
