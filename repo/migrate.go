package repo

import (
	"context"
	"errors"
	"fmt"

	"github.com/golang-migrate/migrate/v4"
	pgxmigrate "github.com/golang-migrate/migrate/v4/database/pgx/v5"
	"github.com/golang-migrate/migrate/v4/source/iofs"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/rivermigrate"

	"tankward/migrations"
	"tankward/service/stock"
)

// QueueSchema is where the job queue's own tables live.
const QueueSchema = "river"

// Migrate brings the schema of the database at url to the newest version: the
// application's role, our tables, the species catalogue, the job queue.
func Migrate(ctx context.Context, url string) error {
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		return fmt.Errorf("connect to migrate: %w", err)
	}
	defer func() { _ = conn.Close(context.WithoutCancel(ctx)) }()
	if err := makeRole(ctx, conn); err != nil {
		return err
	}
	if err := migrateNumbered(url, func(m *migrate.Migrate) error { return m.Up() }); err != nil {
		return err
	}
	if err := loadCatalogue(ctx, conn); err != nil {
		return err
	}
	return migrateQueue(ctx, url, rivermigrate.DirectionUp)
}

// MigrateDown takes every table away again, the job queue's too.
func MigrateDown(ctx context.Context, url string) error {
	if err := migrateQueue(ctx, url, rivermigrate.DirectionDown); err != nil {
		return err
	}
	return migrateNumbered(url, func(m *migrate.Migrate) error { return m.Down() })
}

// MigrationVersion gives the schema's number, 0 for an empty database, and
// whether a migration failed half-way.
func MigrationVersion(url string) (version uint, dirty bool, err error) { //nolint:nonamedreturns // three results need names
	err = migrateNumbered(url, func(m *migrate.Migrate) error {
		var err error
		version, dirty, err = m.Version()
		if errors.Is(err, migrate.ErrNilVersion) {
			return nil
		}
		return err
	})
	return version, dirty, err
}

func migrateNumbered(url string, do func(*migrate.Migrate) error) error {
	src, err := iofs.New(migrations.FS, ".")
	if err != nil {
		return fmt.Errorf("read the embedded migrations: %w", err)
	}
	cfg, err := pgx.ParseConfig(url)
	if err != nil {
		return fmt.Errorf("read the database address: %w", err)
	}
	db := stdlib.OpenDB(*cfg)
	driver, err := pgxmigrate.WithInstance(db, &pgxmigrate.Config{MultiStatementEnabled: false})
	if err != nil {
		return errors.Join(fmt.Errorf("prepare to migrate: %w", err), db.Close())
	}
	m, err := migrate.NewWithInstance("embedded", src, "tankward", driver)
	if err != nil {
		return errors.Join(fmt.Errorf("prepare to migrate: %w", err), db.Close())
	}
	err = do(m)
	srcErr, dbErr := m.Close()
	if errors.Is(err, migrate.ErrNoChange) {
		err = nil
	}
	if dirty, ok := errors.AsType[migrate.ErrDirty](err); ok {
		err = fmt.Errorf("migration %d failed half-way and left the schema marked: restore the backup taken before it, "+
			"or mend the schema by hand and set schema_migrations to (version %d, dirty false), then migrate again: %w",
			dirty.Version, dirty.Version-1, err)
	}
	return errors.Join(err, srcErr, dbErr)
}

// makeRole makes the application's role, which belongs to the whole cluster:
// another database's migration may have made it, or be making it right now.
func makeRole(ctx context.Context, conn *pgx.Conn) error {
	for _, sql := range []string{
		"CREATE ROLE " + appRole + " NOLOGIN NOSUPERUSER NOBYPASSRLS",
		"GRANT " + appRole + " TO CURRENT_USER",
	} {
		if _, err := conn.Exec(ctx, sql); err != nil && !isCode(err, "42710", uniqueViolation) && !isConcurrentUpdate(err) {
			return fmt.Errorf("make the role %s: %w", appRole, err)
		}
	}
	return nil
}

// isConcurrentUpdate recognises two migrations granting the same role at once;
// Postgres says XX000 "tuple concurrently updated", and one of them has won.
func isConcurrentUpdate(err error) bool { return isCode(err, "XX000") }

// loadCatalogue brings the reference table up to the built-in catalogue.
func loadCatalogue(ctx context.Context, conn *pgx.Conn) error {
	all := stock.Catalogue()
	codes, names := make([]string, len(all)), make([]string, len(all))
	for i, s := range all {
		codes[i], names[i] = s.Code, s.ScientificName
	}
	_, err := conn.Exec(ctx, `
		INSERT INTO catalogue_species (code, scientific_name)
		SELECT code, scientific_name
		FROM unnest($1::text[], $2::text[]) AS c (code, scientific_name)
		ON CONFLICT (code) DO UPDATE
		SET scientific_name = excluded.scientific_name`, codes, names)
	if err != nil {
		return fmt.Errorf("load the species catalogue: %w", err)
	}
	return nil
}

func migrateQueue(ctx context.Context, url string, d rivermigrate.Direction) error {
	pool, err := pgxpool.New(ctx, url)
	if err != nil {
		return fmt.Errorf("connect to migrate the job queue: %w", err)
	}
	defer pool.Close()
	if d == rivermigrate.DirectionUp {
		if _, err := pool.Exec(ctx, "CREATE SCHEMA IF NOT EXISTS "+QueueSchema); err != nil {
			return fmt.Errorf("make the job queue's schema: %w", err)
		}
	}
	m, err := rivermigrate.New(riverpgxv5.New(pool), &rivermigrate.Config{Schema: QueueSchema})
	if err != nil {
		return fmt.Errorf("prepare the job queue's migration: %w", err)
	}
	opts := &rivermigrate.MigrateOpts{}
	if d == rivermigrate.DirectionDown {
		opts.TargetVersion = -1
	}
	if _, err := m.Migrate(ctx, d, opts); err != nil {
		return fmt.Errorf("migrate the job queue: %w", err)
	}
	if d == rivermigrate.DirectionDown {
		_, err = pool.Exec(ctx, "DROP SCHEMA IF EXISTS "+QueueSchema+" CASCADE")
		return err
	}
	_, err = pool.Exec(ctx, `
		GRANT USAGE ON SCHEMA `+QueueSchema+` TO `+appRole+`;
		GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA `+QueueSchema+` TO `+appRole+`;
		GRANT USAGE ON ALL SEQUENCES IN SCHEMA `+QueueSchema+` TO `+appRole)
	if err != nil {
		return fmt.Errorf("open the job queue to the application: %w", err)
	}
	return nil
}
