package repo

import (
	"context"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
)

// The schema is written down from the catalog and not by pg_dump: that belongs to
// one version of the server, and is not there when Postgres was downloaded or
// runs in a container.

const schemaHead = `-- The schema as the migrations leave it, read from the catalog. Never edit it:
--     go test ./repo -run TestSchemaIsTheCommittedOne -update
-- The job queue's own schema is not ours to write down.
`

// schemaParts are the statements whose single column is the text of the schema, in
// an order that depends on names alone.
var schemaParts = []string{
	// tables
	`SELECT
		'CREATE TABLE ' || c.relname || E' (\n'
		|| (
			SELECT string_agg(line, E',\n' ORDER BY part, place, line COLLATE "C")
			FROM (
				SELECT
					1 AS part,
					a.attnum AS place,
					'    ' || a.attname || ' ' || format_type(a.atttypid, a.atttypmod)
						|| CASE WHEN a.attcollation <> t.typcollation THEN ' COLLATE "' || l.collname || '"' ELSE '' END
						|| CASE WHEN a.attnotnull THEN ' NOT NULL' ELSE '' END
						|| coalesce(' DEFAULT ' || pg_get_expr(d.adbin, d.adrelid), '') AS line
				FROM pg_attribute a
				JOIN pg_type t ON t.oid = a.atttypid
				LEFT JOIN pg_collation l ON l.oid = a.attcollation
				LEFT JOIN pg_attrdef d ON d.adrelid = a.attrelid AND d.adnum = a.attnum
				WHERE a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped
				UNION ALL
				SELECT
					2,
					0,
					'    CONSTRAINT ' || k.conname || ' ' || pg_get_constraintdef(k.oid)
				FROM pg_constraint k
				WHERE k.conrelid = c.oid AND k.contype IN ('p', 'u', 'f', 'c', 'x')
			) AS lines
		)
		|| E'\n)'
		|| coalesce(' PARTITION BY ' || pg_get_partkeydef(c.oid), '')
		|| coalesce(' WITH (' || array_to_string(c.reloptions, ', ') || ')', '')
	FROM pg_class c
	WHERE c.relnamespace = 'public'::regnamespace
		AND c.relkind IN ('r', 'p')
		AND NOT c.relispartition
		AND c.relname <> 'schema_migrations'
	ORDER BY c.relname COLLATE "C"`,
	// indexes that no constraint makes
	`SELECT pg_get_indexdef(i.indexrelid)
	FROM pg_index i
	JOIN pg_class c ON c.oid = i.indrelid
	WHERE c.relnamespace = 'public'::regnamespace
		AND c.relname <> 'schema_migrations'
		AND NOT c.relispartition
		AND NOT EXISTS (SELECT 1 FROM pg_constraint k WHERE k.conindid = i.indexrelid)
	ORDER BY i.indexrelid::regclass::text COLLATE "C"`,
	// functions
	`SELECT pg_get_functiondef(p.oid)
	FROM pg_proc p
	WHERE p.pronamespace = 'public'::regnamespace
	ORDER BY p.proname COLLATE "C"`,
	// the wall
	`SELECT
		'ALTER TABLE ' || c.relname
			|| CASE WHEN c.relrowsecurity THEN ' ENABLE' ELSE ' DISABLE' END || ' ROW LEVEL SECURITY,'
			|| CASE WHEN c.relforcerowsecurity THEN ' FORCE' ELSE ' NO FORCE' END || ' ROW LEVEL SECURITY'
	FROM pg_class c
	WHERE c.relnamespace = 'public'::regnamespace
		AND c.relkind IN ('r', 'p')
		AND NOT c.relispartition
		AND c.relname <> 'schema_migrations'
	ORDER BY c.relname COLLATE "C"`,
	`SELECT
		'CREATE POLICY ' || policyname || ' ON ' || tablename || ' FOR ' || cmd
			|| ' USING ' || qual || ' WITH CHECK ' || with_check
	FROM pg_policies
	WHERE schemaname = 'public'
	ORDER BY (tablename || ' ' || policyname) COLLATE "C"`,
	// what the application may do
	`SELECT 'GRANT ' || string_agg(g.privilege_type, ', ' ORDER BY g.privilege_type COLLATE "C") || ' ON ' || c.relname || ' TO ' || r.rolname
	FROM pg_class c
	CROSS JOIN aclexplode(c.relacl) AS g
	JOIN pg_roles r ON r.oid = g.grantee
	WHERE c.relnamespace = 'public'::regnamespace AND g.grantee <> c.relowner AND NOT c.relispartition
	GROUP BY c.relname, r.rolname
	ORDER BY c.relname COLLATE "C"`,
	`SELECT 'GRANT EXECUTE ON FUNCTION ' || p.oid::regprocedure::text || ' TO ' || coalesce(r.rolname, 'PUBLIC')
	FROM pg_proc p
	CROSS JOIN aclexplode(coalesce(p.proacl, acldefault('f', p.proowner))) AS g
	LEFT JOIN pg_roles r ON r.oid = g.grantee
	WHERE p.pronamespace = 'public'::regnamespace AND g.grantee <> p.proowner
	ORDER BY 1`,
	// comments
	`SELECT
		'COMMENT ON ' || CASE WHEN d.objsubid = 0 THEN 'TABLE ' || c.relname ELSE 'COLUMN ' || c.relname || '.' || a.attname END
			|| ' IS ' || quote_literal(d.description)
	FROM pg_description d
	JOIN pg_class c ON c.oid = d.objoid AND d.classoid = 'pg_class'::regclass
	LEFT JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum = d.objsubid AND d.objsubid > 0
	WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p')
	ORDER BY (c.relname || coalesce(a.attname, '')) COLLATE "C"`,
}

// schemaText writes the schema of a database down.
func schemaText(t *testing.T, url string) string {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.WithoutCancel(t.Context()))
	var b strings.Builder
	b.WriteString(schemaHead)
	for _, sql := range schemaParts {
		rows, err := conn.Query(t.Context(), sql)
		if err != nil {
			t.Fatal(err)
		}
		lines, err := pgx.CollectRows(rows, pgx.RowTo[string])
		if err != nil {
			t.Fatal(err)
		}
		b.WriteString("\n")
		for _, line := range lines {
			b.WriteString(strings.TrimRight(line, "\n") + ";\n")
		}
	}
	return b.String()
}
