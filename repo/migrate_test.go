package repo

import (
	"context"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"

	"tankward/migrations"
	"tankward/repo/pgtest"
	"tankward/service/stock"
)

var update = flag.Bool("update", false, "write migrations/schema.sql anew")

func TestSchemaIsTheCommittedOne(t *testing.T) {
	t.Parallel()
	file := filepath.Join("..", "migrations", "schema.sql")
	got := schemaText(t, pgtest.Database(t))
	if *update {
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("the migrations make another schema than migrations/schema.sql; run with -update (-file +database):\n%s", diff)
	}
}

// leftOver lists what is in the database beside the record of migrations.
func leftOver(t *testing.T, url string) []string {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.WithoutCancel(t.Context()))
	rows, err := conn.Query(t.Context(), `
		SELECT relname::text
		FROM pg_class
		WHERE relnamespace = 'public'::regnamespace AND relname NOT LIKE 'schema_migrations%'
		UNION ALL
		SELECT proname::text FROM pg_proc WHERE pronamespace = 'public'::regnamespace
		UNION ALL
		SELECT typname::text FROM pg_type WHERE typnamespace = 'public'::regnamespace AND typname NOT LIKE '%schema_migrations'
		UNION ALL
		SELECT nspname::text FROM pg_namespace WHERE nspname !~ '^pg_' AND nspname NOT IN ('public', 'information_schema')
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

func TestUpDownUp(t *testing.T) {
	t.Parallel()
	url := pgtest.EmptyDatabase(t)
	if err := Migrate(t.Context(), url); err != nil {
		t.Fatal(err)
	}
	first := schemaText(t, url)
	// A month of readings is made by the application, and has to go as well.
	if err := openDB(t, url).EnsureReadingMonth(t.Context(), dayFromSQL(testNow)); err != nil {
		t.Fatal(err)
	}
	if err := MigrateDown(t.Context(), url); err != nil {
		t.Fatal(err)
	}
	if names := leftOver(t, url); len(names) > 0 {
		t.Errorf("after the way down there still is %v", names)
	}
	if err := Migrate(t.Context(), url); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(first, schemaText(t, url)); diff != "" {
		t.Errorf("the second way up leads elsewhere (-first +second):\n%s", diff)
	}
}

func TestMigrateAgainChangesNothing(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	furnish(t, w, w.a.Scope)
	before, schema := snapshot(t, w), schemaText(t, w.url)
	if err := Migrate(t.Context(), w.url); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(before, snapshot(t, w)); diff != "" {
		t.Errorf("rows (-before +after):\n%s", diff)
	}
	if diff := cmp.Diff(schema, schemaText(t, w.url)); diff != "" {
		t.Errorf("schema (-before +after):\n%s", diff)
	}
}

func TestMigrationVersion(t *testing.T) {
	t.Parallel()
	url := pgtest.EmptyDatabase(t)
	for _, step := range []struct {
		do   func(context.Context, string) error
		want uint
	}{
		{func(context.Context, string) error { return nil }, 0},
		{Migrate, uint(len(pairs(t)))},
		{MigrateDown, 0},
	} {
		if err := step.do(t.Context(), url); err != nil {
			t.Fatal(err)
		}
		if got, dirty, err := MigrationVersion(url); got != step.want || dirty || err != nil {
			t.Errorf("version %d, dirty %v, %v, want %d", got, dirty, err, step.want)
		}
	}
}

// A migration that failed half-way says how to go on.
func TestDirtySchemaSaysHowToGoOn(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	exec(t, ownerConn(t, w), `UPDATE schema_migrations SET dirty = true`)
	_, dirty, err := MigrationVersion(w.url)
	if !dirty || err != nil {
		t.Errorf("dirty %v, %v", dirty, err)
	}
	err = Migrate(t.Context(), w.url)
	if err == nil || !strings.Contains(err.Error(), "restore the backup") {
		t.Errorf("got %v, want what to do", err)
	}
}

func TestCatalogueIsLoaded(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	conn := ownerConn(t, w)
	exec(t, conn, `UPDATE catalogue_species SET scientific_name = 'of before'; DELETE FROM catalogue_species WHERE code LIKE 'a%'`)
	if err := Migrate(t.Context(), w.url); err != nil {
		t.Fatal(err)
	}
	rows, err := conn.Query(t.Context(), `SELECT code, scientific_name FROM catalogue_species`)
	if err != nil {
		t.Fatal(err)
	}
	got, want := map[string]string{}, map[string]string{}
	var code, name string
	if _, err := pgx.ForEachRow(rows, []any{&code, &name}, func() error { got[code] = name; return nil }); err != nil {
		t.Fatal(err)
	}
	for _, s := range stock.Catalogue() {
		want[s.Code] = s.ScientificName
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("catalogue (-want +got):\n%s", diff)
	}
}

// pairs gives the names of the migrations, each an up and a down of one number,
// without a gap.
func pairs(t *testing.T) []string {
	t.Helper()
	files, err := fs.Glob(migrations.FS, "*")
	if err != nil {
		t.Fatal(err)
	}
	form := regexp.MustCompile(`^(\d{6}_[a-z_]+)\.(up|down)\.sql$`)
	var names []string
	for i, f := range files {
		m := form.FindStringSubmatch(f)
		if m == nil {
			t.Fatalf("%s is no migration", f)
		}
		if number, way := fmt.Sprintf("%06d_", i/2+1), []string{"down", "up"}[i%2]; !strings.HasPrefix(m[1], number) || m[2] != way {
			t.Fatalf("%s stands where number %s%s.sql should", f, number, way)
		}
		if i%2 == 1 {
			if m[1] != names[len(names)-1] {
				t.Fatalf("%s has no down", f)
			}
			continue
		}
		names = append(names, m[1])
	}
	return names
}

func TestMigrationsComeInPairs(t *testing.T) {
	t.Parallel()
	if n := len(pairs(t)); n == 0 {
		t.Error("no migration is embedded")
	}
}

// A month may be asked for again, and by many at once; an impossible one is refused.
func TestReadingMonths(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	for range 2 { // again is no error
		if err := w.db.EnsureReadingMonth(t.Context(), dayFromSQL(testNow)); err != nil {
			t.Fatal(err)
		}
	}
	errs := make(chan error, 8)
	for range cap(errs) { // nor is at once
		go func() { errs <- w.db.EnsureReadingMonth(t.Context(), dayFromSQL(testNow)+40) }()
	}
	for range cap(errs) {
		if err := <-errs; err != nil {
			t.Error(err)
		}
	}
	if err := w.db.EnsureReadingMonth(t.Context(), dayFromSQL(testNow)+100_000); err == nil {
		t.Error("a month in 2299 was made")
	}
}
