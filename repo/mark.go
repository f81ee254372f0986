package repo

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"

	"github.com/jackc/pgx/v5"

	"tankward/migrations"
)

// markSchema is where a demo leaves its mark. A schema of its own is not in the
// way of migrations, and nobody makes it by chance.
const markSchema = "tankward_demo"

// Mark says what a demo has made of a database.
type Mark struct {
	// Edition tells scenarios apart: what was loaded, on which schema.
	Edition string
	// Loaded is false when loading was broken off.
	Loaded bool
}

// Owned is a connection to a database as its owner, for what the application
// may not do: make, empty and mark a database.
type Owned struct{ conn *pgx.Conn }

// OpenOwned connects to the database at url as its owner.
func OpenOwned(ctx context.Context, url string) (*Owned, error) {
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		return nil, fmt.Errorf("connect as the owner: %w", err)
	}
	return &Owned{conn}, nil
}

// Close ends the connection.
func (o *Owned) Close(ctx context.Context) error { return o.conn.Close(ctx) }

// Alone says whether no other demo uses this database, and keeps others from
// it until Close.
func (o *Owned) Alone(ctx context.Context) (bool, error) {
	var alone bool
	err := o.conn.QueryRow(ctx, `SELECT pg_try_advisory_lock(hashtext('`+markSchema+`'))`).Scan(&alone)
	return alone, translate("look for another demo", err)
}

// Empty says whether the database holds no table, view, sequence or function
// of anybody.
func (o *Owned) Empty(ctx context.Context) (bool, error) {
	var empty bool
	err := o.conn.QueryRow(ctx, `
		SELECT NOT EXISTS (
			SELECT
			FROM pg_class c
			JOIN pg_namespace n ON n.oid = c.relnamespace
			WHERE n.nspname <> 'information_schema' AND n.nspname !~ '^pg_'
		) AND NOT EXISTS (
			SELECT
			FROM pg_proc p
			JOIN pg_namespace n ON n.oid = p.pronamespace
			LEFT JOIN pg_depend d ON d.classid = 'pg_proc'::regclass AND d.objid = p.oid AND d.deptype = 'e'
			WHERE n.nspname <> 'information_schema' AND n.nspname !~ '^pg_' AND d.objid IS NULL
		)`).Scan(&empty)
	return empty, translate("look whether the database is empty", err)
}

// Mark gives the mark of a demo; false when there is none.
func (o *Owned) Mark(ctx context.Context) (Mark, bool, error) {
	var there bool
	if err := o.conn.QueryRow(ctx, `SELECT to_regclass('`+markSchema+`.mark') IS NOT NULL`).Scan(&there); err != nil || !there {
		return Mark{}, false, translate("look for a demo's mark", err)
	}
	var m Mark
	err := o.conn.QueryRow(ctx, `
		SELECT
			edition,
			loaded
		FROM `+markSchema+`.mark`).Scan(&m.Edition, &m.Loaded)
	if errors.Is(err, errNoRow) {
		return Mark{}, true, nil
	}
	return m, true, translate("read a demo's mark", err)
}

// SetMark marks the database as a demo's own.
func (o *Owned) SetMark(ctx context.Context, m Mark) error {
	_, err := o.conn.Exec(ctx, `
		CREATE SCHEMA IF NOT EXISTS `+markSchema+`;
		CREATE TABLE IF NOT EXISTS `+markSchema+`.mark (edition text NOT NULL, loaded boolean NOT NULL);
		DELETE FROM `+markSchema+`.mark`)
	if err == nil {
		_, err = o.conn.Exec(ctx, `INSERT INTO `+markSchema+`.mark (edition, loaded) VALUES ($1, $2)`, m.Edition, m.Loaded)
	}
	return translate("mark the database as a demo's", err)
}

// Wipe takes away what migrations have made, whichever they were, and the rows
// with it. The mark stays. It is for a database that a demo marked as its own:
// such a one was empty, so all there is belongs to the demo.
func (o *Owned) Wipe(ctx context.Context) error {
	_, err := o.conn.Exec(ctx, `
		DROP SCHEMA IF EXISTS `+QueueSchema+` CASCADE;
		DO $$
		DECLARE
			thing record;
		BEGIN
			FOR thing IN
				SELECT c.oid::regclass AS name
				FROM pg_class c
				WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p') AND NOT c.relispartition
			LOOP
				EXECUTE format('DROP TABLE IF EXISTS %s CASCADE', thing.name);
			END LOOP;
			FOR thing IN
				SELECT p.oid::regprocedure AS name
				FROM pg_proc p
				LEFT JOIN pg_depend d ON d.classid = 'pg_proc'::regclass AND d.objid = p.oid AND d.deptype = 'e'
				WHERE p.pronamespace = 'public'::regnamespace AND d.objid IS NULL
			LOOP
				EXECUTE format('DROP FUNCTION %s CASCADE', thing.name);
			END LOOP;
		END
		$$`)
	return translate("empty the demo's database", err)
}

// Analyze gathers what the planner has to know after a load.
func (o *Owned) Analyze(ctx context.Context) error {
	_, err := o.conn.Exec(ctx, `ANALYZE`)
	return translate("analyze", err)
}

// SchemaEdition tells schemas apart: it is another when any migration is.
func SchemaEdition() (string, error) {
	h := sha256.New()
	err := fs.WalkDir(migrations.FS, ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		text, err := fs.ReadFile(migrations.FS, path)
		_, _ = fmt.Fprintf(h, "%s %d\n", path, len(text))
		_, _ = h.Write(text)
		return err
	})
	if err != nil {
		return "", fmt.Errorf("read the embedded migrations: %w", err)
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}
