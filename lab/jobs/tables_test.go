package jobs_test

import (
	"fmt"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/rivermigrate"

	"wetside/deploy/testdb"
)

// described is everything River's tables are made of, in a schema.
const described = `
	SELECT format('%s.%s %s %s %s', c.relname, a.attname, format_type(a.atttypid, a.atttypmod), a.attnotnull, pg_get_expr(d.adbin, d.adrelid))
	FROM pg_attribute a JOIN pg_class c ON c.oid = a.attrelid LEFT JOIN pg_attrdef d ON d.adrelid = c.oid AND d.adnum = a.attnum
	WHERE c.relnamespace = $1::regnamespace AND c.relkind = 'r' AND c.relname LIKE 'river%' AND a.attnum > 0 AND NOT a.attisdropped
	UNION ALL
	SELECT format('%s %s', c.relname, c.relpersistence) FROM pg_class c
	WHERE c.relnamespace = $1::regnamespace AND c.relkind = 'r' AND c.relname LIKE 'river%'
	UNION ALL
	SELECT format('%s: %s: %s', r.relname, c.conname, pg_get_constraintdef(c.oid)) FROM pg_constraint c JOIN pg_class r ON r.oid = c.conrelid
	WHERE c.connamespace = $1::regnamespace AND r.relname LIKE 'river%'
	UNION ALL
	SELECT pg_get_indexdef(i.indexrelid) FROM pg_index i JOIN pg_class c ON c.oid = i.indrelid
	WHERE c.relnamespace = $1::regnamespace AND c.relname LIKE 'river%'
	UNION ALL
	SELECT e.enumlabel FROM pg_enum e JOIN pg_type t ON t.oid = e.enumtypid WHERE t.typnamespace = $1::regnamespace
	UNION ALL
	SELECT format('%s %s %s', p.proname, pg_get_function_arguments(p.oid), p.provolatile) FROM pg_proc p
	WHERE p.pronamespace = $1::regnamespace AND p.proname LIKE 'river%'
	UNION ALL
	SELECT format('trigger %s on %s', t.tgname, c.relname) FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid
	WHERE c.relnamespace = $1::regnamespace AND c.relname LIKE 'river%'`

// Our migration makes the tables that this version of River wants: the same
// as River's own migrations make, but for the table in which it counts those.
func TestTheTablesAreRivers(t *testing.T) {
	t.Parallel()
	pool := testdb.New(t)
	if _, err := pool.Exec(t.Context(), `CREATE SCHEMA river`); err != nil {
		t.Fatal(err)
	}
	m, err := rivermigrate.New(riverpgxv5.New(pool), &rivermigrate.Config{Schema: "river"})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := m.Migrate(t.Context(), rivermigrate.DirectionUp, nil); err != nil {
		t.Fatal(err)
	}
	if _, err := pool.Exec(t.Context(), `DROP TABLE river.river_migration`); err != nil {
		t.Fatal(err)
	}
	describe := func(schema string) []string {
		query := fmt.Sprintf(`SELECT line FROM (SELECT replace(d.format, %s || '.', '') AS line FROM (%s) d) x ORDER BY line COLLATE "C"`, "$1::text", described)
		rows, err := pool.Query(t.Context(), query, schema)
		if err != nil {
			t.Fatal(err)
		}
		lines, err := pgx.CollectRows(rows, pgx.RowTo[string])
		if err != nil {
			t.Fatal(err)
		}
		return lines
	}
	want, got := describe("river"), describe("public")
	if len(want) < 40 {
		t.Fatalf("River's own tables have %d features", len(want))
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("River's migrations make - and ours +:\n%s", diff)
	}
}
