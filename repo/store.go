package repo

import (
	"context"
	"encoding/base64"
	"errors"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"tankward/service/care"
	"tankward/service/fault"
	"tankward/service/resource"
	"tankward/service/tx"
)

// metaRow is what every resource's row begins with; aggregates embed it.
type metaRow struct {
	ID         uuid.UUID
	Version    int
	CreatedAt  time.Time
	UpdatedAt  time.Time
	ArchivedAt *time.Time
}

func (m metaRow) meta() resource.Meta {
	return resource.Meta{
		ID: m.ID, Version: m.Version,
		CreatedAt: m.CreatedAt.UTC(), UpdatedAt: m.UpdatedAt.UTC(), ArchivedAt: utc(m.ArchivedAt),
	}
}

func utc(t *time.Time) *time.Time {
	if t == nil {
		return nil
	}
	u := t.UTC()
	return &u
}

// statements are the texts of one aggregate. insert takes org_id, id, version,
// created_at, updated_at, create_hash and then the fields; save takes org_id, id,
// version, updated_at, archived_at and then the fields; load and hash take
// org_id and id.
type statements struct {
	resource string
	insert   string
	save     string
	load     string
	hash     string
}

// store is the one implementation of resource.Store: R is the aggregate's row.
type store[F, R any] struct {
	t      *Tx
	sql    statements
	fields func(F) []any
	row    func(R) resource.Row[F]
}

// Insert implements resource.Store.
func (s store[F, R]) Insert(ctx context.Context, r resource.Row[F], hash [32]byte) (bool, error) {
	tag, err := s.t.tx.Exec(ctx, s.sql.insert, s.insertArgs(r, hash)...)
	if err != nil {
		return false, translate("insert "+s.sql.resource, err)
	}
	return tag.RowsAffected() == 1, nil
}

func (s store[F, R]) insertArgs(r resource.Row[F], hash [32]byte) []any {
	return append([]any{s.t.org, r.ID, r.Version, r.CreatedAt, r.UpdatedAt, hash[:]}, s.fields(r.Fields)...)
}

// CreateHash implements resource.Store.
func (s store[F, R]) CreateHash(ctx context.Context, id uuid.UUID) ([32]byte, error) {
	var b []byte
	err := s.t.tx.QueryRow(ctx, s.sql.hash, s.t.org, id).Scan(&b)
	if errors.Is(err, errNoRow) {
		return [32]byte{}, fault.NoSuch(s.sql.resource, id)
	}
	if err != nil {
		return [32]byte{}, translate("look up "+s.sql.resource, err)
	}
	return [32]byte(b), nil
}

// Load implements resource.Store.
func (s store[F, R]) Load(ctx context.Context, id uuid.UUID) (resource.Row[F], error) {
	return loadOne(ctx, s.t, named(s.sql.resource, id, s.row), s.sql.load, s.t.org, id)
}

// Save implements resource.Store.
func (s store[F, R]) Save(ctx context.Context, r resource.Row[F]) error {
	args := append([]any{s.t.org, r.ID, r.Version, r.UpdatedAt, r.ArchivedAt}, s.fields(r.Fields)...)
	if _, err := s.t.tx.Exec(ctx, s.sql.save, args...); err != nil {
		return translate("save "+s.sql.resource, err)
	}
	return nil
}

// wanted is a row that is looked up by its id: what it is called in an answer that
// it is not there, and what is made of it.
type wanted[R, T any] struct {
	name    string
	id      uuid.UUID
	convert func(R) T
}

func named[R, T any](name string, id uuid.UUID, convert func(R) T) wanted[R, T] {
	return wanted[R, T]{name, id, convert}
}

// loadOne gives the one row of a query in a command's transaction.
func loadOne[R, T any](ctx context.Context, t *Tx, w wanted[R, T], sql string, args ...any) (T, error) {
	var zero T
	rows, err := t.tx.Query(ctx, sql, args...)
	if err != nil {
		return zero, translate("load "+w.name, err)
	}
	row, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByName[R])
	if errors.Is(err, errNoRow) {
		return zero, fault.NoSuch(w.name, w.id)
	}
	if err != nil {
		return zero, translate("load "+w.name, err)
	}
	return w.convert(row), nil
}

// loadAll gives all rows of a query in a command's transaction.
func loadAll[R, T any](ctx context.Context, t *Tx, convert func(R) T, sql string, args ...any) ([]T, error) {
	rows, err := t.tx.Query(ctx, sql, args...)
	if err != nil {
		return nil, translate("load rows", err)
	}
	var out []T
	if err := into(&out, convert)(rows); err != nil {
		return nil, translate("load rows", err)
	}
	return out, nil
}

// get gives one resource by its id.
func get[R, T any](ctx context.Context, db *DB, s tx.Scope, w wanted[R, T], sql string) (T, error) {
	var found []T
	var zero T
	if err := db.read(ctx, s, query{sql, []any{s.Org, w.id}, into(&found, w.convert)}); err != nil {
		return zero, err
	}
	if len(found) == 0 {
		return zero, fault.NoSuch(w.name, w.id)
	}
	return found[0], nil
}

const selectHead = `SELECT coalesce((SELECT last_seq FROM change_head WHERE org_id = $1), 0)`

// Head gives the number of the organisation's last change.
func (db *DB) Head(ctx context.Context, s tx.Scope) (int64, error) {
	var head int64
	err := db.read(ctx, s, query{selectHead, []any{s.Org}, value(&head)})
	return head, err
}

// asked is a page that is asked for.
type asked struct {
	db     *DB
	scope  tx.Scope
	paging resource.Paging
}

// list gives one page of a list ordered by id. The statement takes org_id, the
// last id of the page before, the limit, whether archived rows are wanted, and
// then the filters.
func list[F, R any](ctx context.Context, a asked, convert func(R) resource.Row[F], sql string, filters ...any) (resource.Page[resource.Row[F]], error) {
	var page resource.Page[resource.Row[F]]
	p, org := a.paging, a.scope.Org
	after, err := decodeCursor(p.After)
	if err != nil {
		return page, err
	}
	args := append([]any{org, after, p.Limit + 1, p.Archived}, filters...)
	err = a.db.read(ctx, a.scope,
		query{selectHead, []any{org}, value(&page.Head)},
		query{sql, args, into(&page.Items, convert)})
	if err != nil {
		return page, err
	}
	if len(page.Items) > p.Limit {
		page.Items = page.Items[:p.Limit]
		page.Next = encodeCursor(page.Items[p.Limit-1].ID)
	}
	return page, nil
}

func encodeCursor(id uuid.UUID) string { return base64.RawURLEncoding.EncodeToString(id[:]) }

func decodeCursor(s string) (uuid.UUID, error) {
	if s == "" {
		return uuid.Nil, nil
	}
	b, err := base64.RawURLEncoding.DecodeString(s)
	if err != nil || len(b) != 16 {
		return uuid.Nil, badCursor()
	}
	return uuid.UUID(b), nil
}

func badCursor() error { return resource.BadCursor() }

func dayToSQL(d care.Day) time.Time { return d.Time() }

func dayFromSQL(t time.Time) care.Day { return care.DayOf(t.UTC()) }

func dayPtrToSQL(d *care.Day) *time.Time {
	if d == nil {
		return nil
	}
	t := d.Time()
	return &t
}

func dayPtrFromSQL(t *time.Time) *care.Day {
	if t == nil {
		return nil
	}
	d := dayFromSQL(*t)
	return &d
}
