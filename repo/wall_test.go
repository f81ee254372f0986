package repo

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"tankward/service/fleet"
	"tankward/service/stock"
	"tankward/service/tx"
)

// furnish fills an organisation's tables as far as this package's factories go.
func furnish(t *testing.T, w *world, s tx.Scope) {
	t.Helper()
	site := addSite(t, w, s, func(f *fleet.SiteFields) { f.CustomerID = addCustomer(t, w, s).ID })
	addClosure(t, w, s, func(f *fleet.ClosureFields) { f.SiteID = site.ID })
	tank := addTank(t, w, s, func(f *fleet.TankFields) { f.SiteID = site.ID })
	addEquipment(t, w, s, func(f *fleet.EquipmentFields) { f.TankID = tank.ID })
	own := addSpecies(t, w, s)
	addLivestock(t, w, s, func(f *stock.LivestockFields) { f.TankID, f.Species = tank.ID, stock.SpeciesID{Own: own.ID} })
	must(t, w.db, s, func(ctx context.Context, x *Tx) (tx.Trail, error) {
		err := x.SaveAccessNotes(ctx, fleet.AccessNotes{SiteID: site.ID, Version: 1, Notes: "ring twice"})
		return tx.Did(tx.Change{Resource: "access_notes", Action: "created", ID: site.ID}), err
	})
	if _, _, err := (keyed{key: "furnish", id: newID()}).run(t.Context(), w.db, s); err != nil {
		t.Fatal(err)
	}
}

// furnished are the tables in which furnish leaves rows.
var furnished = []string{
	"organisation", "member", "access_key", "customer", "site", "site_access_notes", "closure", "tank", "equipment",
	"species", "livestock", "livestock_event",
	"change_head", "change", "audit_entry", "stored_answer",
}

// tenantTables lists every table that has org_id, but for the two that are read
// before the organisation is known.
func tenantTables(t *testing.T, conn *pgx.Conn) []string {
	t.Helper()
	rows, err := conn.Query(t.Context(), `
		SELECT c.relname::text
		FROM pg_class c
		JOIN pg_attribute a ON a.attrelid = c.oid AND a.attname = 'org_id'
		WHERE c.relnamespace = 'public'::regnamespace
			AND c.relkind IN ('r', 'p')
			AND NOT c.relispartition
			AND c.relname NOT IN ('organisation_directory', 'key_hash')
		ORDER BY 1`)
	if err != nil {
		t.Fatal(err)
	}
	names, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatal(err)
	}
	return names
}

// oneConn is a pool of a single connection as the application's role.
func oneConn(t *testing.T, w *world) *pgxpool.Pool {
	t.Helper()
	pool, err := OpenPool(t.Context(), w.url, 1)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(pool.Close)
	return pool
}

// sees counts rows of a table, as q happens to be bound.
func sees(t *testing.T, q interface {
	QueryRow(context.Context, string, ...any) pgx.Row
}, table, where string, args ...any) int {
	t.Helper()
	var n int
	if err := q.QueryRow(t.Context(), "SELECT count(*) FROM "+pgx.Identifier{table}.Sanitize()+" "+where, args...).Scan(&n); err != nil {
		t.Fatalf("%s: %v", table, err)
	}
	return n
}

// insertRow tries to put a row with nothing but its organisation into a table. The
// wall is asked before any other constraint, but for finding the partition.
func insertRow(ctx context.Context, q interface {
	Exec(context.Context, string, ...any) (commandTag, error)
}, table string, org uuid.UUID) error {
	if table == "reading" {
		_, err := q.Exec(ctx, `INSERT INTO reading (org_id, taken_at) VALUES ($1, $2)`, org, testNow)
		return err
	}
	_, err := q.Exec(ctx, "INSERT INTO "+pgx.Identifier{table}.Sanitize()+" (org_id) VALUES ($1)", org)
	return err
}

const wallError = "42501" // insufficient privilege: new row violates row-level security policy

func TestEveryTenantTableIsBehindTheWall(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	conn := ownerConn(t, w)
	for _, table := range tenantTables(t, conn) {
		var enabled, forced bool
		var policies int
		err := conn.QueryRow(t.Context(), `
			SELECT
				c.relrowsecurity,
				c.relforcerowsecurity,
				(SELECT count(*) FROM pg_policy p WHERE p.polrelid = c.oid AND p.polqual IS NOT NULL AND p.polwithcheck IS NOT NULL)
			FROM pg_class c
			WHERE c.relname = $1 AND c.relnamespace = 'public'::regnamespace`, table).Scan(&enabled, &forced, &policies)
		if err != nil {
			t.Fatal(err)
		}
		if !enabled || !forced || policies != 1 {
			t.Errorf("%s: enabled %v, forced %v, %d policies", table, enabled, forced, policies)
		}
	}
	// Keys and indexes begin with the organisation, or the data can't be spread by it.
	var astray []string
	err := conn.QueryRow(t.Context(), `
		SELECT coalesce(array_agg(i.indexrelid::regclass::text ORDER BY 1), '{}')
		FROM pg_index i
		JOIN pg_class c ON c.oid = i.indrelid
		JOIN pg_attribute a ON a.attrelid = c.oid AND a.attname = 'org_id'
		WHERE c.relnamespace = 'public'::regnamespace
			AND c.relname NOT IN ('organisation_directory', 'key_hash')
			AND i.indkey[0] <> a.attnum`).Scan(&astray)
	if err != nil {
		t.Fatal(err)
	}
	if len(astray) > 0 {
		t.Errorf("indexes that do not begin with org_id: %v", astray)
	}
}

// An unbound statement sees and inserts nothing: on a new connection, and on one
// that served an organisation before, whether that went well or not.
func TestUnboundSeesNothing(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	furnish(t, w, w.a.Scope)
	if err := w.db.EnsureReadingMonth(t.Context(), dayFromSQL(testNow)); err != nil {
		t.Fatal(err)
	}
	tables := tenantTables(t, ownerConn(t, w))
	for name, before := range map[string]func(*testing.T, *DB){
		"new connection": func(*testing.T, *DB) {},
		"after a read": func(t *testing.T, db *DB) {
			t.Helper()
			if n := rows(t, db, w.a.Scope, "customer"); n == 0 {
				t.Error("the bound read saw nothing")
			}
		},
		"after a failed read": func(t *testing.T, db *DB) {
			t.Helper()
			var n int64
			if err := db.read(t.Context(), w.a.Scope, query{`SELECT 1 / (count(*) - count(*)) FROM customer`, nil, value(&n)}); err == nil {
				t.Error("dividing by zero went well")
			}
		},
		"after a command": func(t *testing.T, db *DB) {
			t.Helper()
			if _, _, err := (keyed{key: name(t), id: newID()}).run(t.Context(), db, w.a.Scope); err != nil {
				t.Error(err)
			}
		},
		"after a failed command": func(t *testing.T, db *DB) {
			t.Helper()
			if _, _, err := (keyed{id: newID(), silent: true}).run(t.Context(), db, w.a.Scope); err == nil {
				t.Error("the command without a trail went well")
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			pool := oneConn(t, w)
			before(t, &DB{pool: pool, verify: true, clock: testOptions().Clock, newID: newID})
			for _, table := range tables {
				if n := sees(t, pool, table, ""); n != 0 {
					t.Errorf("%s: an unbound statement sees %d rows", table, n)
				}
				if err := insertRow(t.Context(), pool, table, w.a.Org); !isCode(err, wallError) {
					t.Errorf("%s: an unbound statement inserts: %v", table, err)
				}
			}
		})
	}
}

func name(t *testing.T) string {
	t.Helper()
	return t.Name()
}

// Bound to A, a statement that names B, or names nobody, reaches only A.
func TestBoundToOneCannotReachAnother(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	furnish(t, w, w.a.Scope)
	furnish(t, w, w.b.Scope)
	if err := w.db.EnsureReadingMonth(t.Context(), dayFromSQL(testNow)); err != nil {
		t.Fatal(err)
	}
	tables := tenantTables(t, ownerConn(t, w))
	has := map[string]bool{}
	for _, table := range furnished {
		has[table] = true
	}
	undo := errors.New("undo")
	bound := func(t *testing.T, s tx.Scope, f func(ctx context.Context, q pgx.Tx) error) {
		t.Helper()
		err := command(t.Context(), w.db, s, func(ctx context.Context, x *Tx) (tx.Trail, error) {
			if err := f(ctx, x.tx); err != nil {
				return tx.Trail{}, err
			}
			return tx.Trail{}, undo
		})
		if !errors.Is(err, undo) {
			t.Error(err)
		}
	}
	for _, table := range tables {
		t.Run(table, func(t *testing.T) {
			t.Parallel()
			quoted := pgx.Identifier{table}.Sanitize()
			bound(t, w.a.Scope, func(_ context.Context, q pgx.Tx) error {
				if n := sees(t, q, table, "WHERE org_id = $1", w.b.Org); n != 0 {
					return fmt.Errorf("sees %d rows of the other", n)
				}
				if all, own := sees(t, q, table, ""), sees(t, q, table, "WHERE org_id = $1", w.a.Org); all != own || has[table] && own == 0 {
					return fmt.Errorf("sees %d rows, %d of its own", all, own)
				}
				return nil
			})
			bound(t, w.a.Scope, func(ctx context.Context, q pgx.Tx) error {
				if err := insertRow(ctx, q, table, w.b.Org); !isCode(err, wallError) {
					return fmt.Errorf("inserts a row of the other: %w", err)
				}
				return nil
			})
			for _, sql := range []string{
				"UPDATE " + quoted + " SET org_id = org_id WHERE org_id = $1",
				"DELETE FROM " + quoted + " WHERE org_id = $1",
			} {
				bound(t, w.a.Scope, func(ctx context.Context, q pgx.Tx) error {
					tag, err := q.Exec(ctx, sql, w.b.Org)
					if isCode(err, wallError) && slices.Contains(appendOnly, table) {
						return nil // nobody may
					}
					if err != nil || tag.RowsAffected() != 0 {
						return fmt.Errorf("%s: %d rows, %w", sql, tag.RowsAffected(), err)
					}
					return nil
				})
			}
		})
	}
}

// appendOnly are the tables whose rows nobody may change or take away.
var appendOnly = []string{"change", "audit_entry", "work_record", "livestock_event", "ramp_event"}

// A row cannot be moved to another organisation either.
func TestRowsStayInTheirOrganisation(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	c := addCustomer(t, w, w.a.Scope)
	err := command(t.Context(), w.db, w.a.Scope, func(ctx context.Context, x *Tx) (tx.Trail, error) {
		_, err := x.tx.Exec(ctx, `UPDATE customer SET org_id = $1 WHERE id = $2`, w.b.Org, c.ID)
		return tx.Trail{}, err
	})
	if !isCode(err, wallError) {
		t.Errorf("got %v, want the wall", err)
	}
}

func TestApplicationCannotTouchTheWall(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	pool := oneConn(t, w)
	for _, sql := range []string{
		`DROP POLICY organisation_wall ON customer`,
		`ALTER TABLE customer NO FORCE ROW LEVEL SECURITY`,
		`CREATE TABLE public.mine (a int)`,
		`TRUNCATE customer`,
		`UPDATE change SET action = 'other'`,
		`DELETE FROM audit_entry`,
		`DELETE FROM organisation_directory`,
		`DELETE FROM key_hash`,
		`INSERT INTO catalogue_species (code, scientific_name) VALUES ('a', 'b')`,
		`SELECT version FROM schema_migrations`,
	} {
		if _, err := pool.Exec(t.Context(), sql); !isCode(err, wallError) {
			t.Errorf("%s: got %v, want permission denied", sql, err)
		}
	}
}

func TestRoleCheck(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	cfg, err := pgxpool.ParseConfig(w.url)
	if err != nil {
		t.Fatal(err)
	}
	owner, err := pgxpool.NewWithConfig(t.Context(), cfg)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(owner.Close)
	if err := checkRole(t.Context(), owner); err == nil {
		t.Error("the owner of the tables was let in")
	}
	if err := checkRole(t.Context(), w.db.pool); err != nil {
		t.Errorf("the application's role was refused: %v", err)
	}
	var super string
	if err := owner.QueryRow(t.Context(), `SELECT rolname FROM pg_roles WHERE rolsuper ORDER BY oid LIMIT 1`).Scan(&super); err != nil {
		t.Fatal(err)
	}
	if past, err := seesPast(t.Context(), w.db.pool, super); err != nil || !past {
		t.Errorf("a superuser would be let in: %v, %v", past, err)
	}
}
