package api_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"wetside/deploy/testdb"
)

// TestMigrationsGuardEveryTable reads the catalogue: a table, reference, function
// or privilege that would let one lab reach another's rows fails it.
func TestMigrationsGuardEveryTable(t *testing.T) {
	t.Parallel()
	pool := testdb.New(t)
	const policy = `(lab_id = current_setting('wetside.lab'::text, true))`
	for table, guard := range pairs(t, pool, `
		SELECT c.relname, concat_ws(', ', CASE WHEN NOT relrowsecurity THEN 'no row security' END,
			(SELECT string_agg(concat_ws(' ', polname, polcmd, CASE WHEN NOT polpermissive THEN 'restrictive' END, polroles::regrole[]::text,
				pg_get_expr(polqual, polrelid), pg_get_expr(polwithcheck, polrelid)), ', ') FROM pg_policy WHERE polrelid = c.oid))
		FROM pg_class c WHERE relnamespace = 'public'::regnamespace AND relkind IN ('r', 'p')
			AND EXISTS (SELECT FROM pg_attribute WHERE attrelid = c.oid AND attname = 'lab_id' AND NOT attisdropped)`) {
		if want := "own_lab * {wetside_app} " + policy + " " + policy; guard != want {
			t.Errorf("%s: %s; end the migration with SELECT guard_lab('%[1]s')", table, guard)
		}
	}
	for table := range pairs(t, pool, `
		SELECT c.relname, '' FROM pg_class c WHERE relnamespace = 'public'::regnamespace AND relkind IN ('r', 'p', 'v', 'm', 'f')
			AND NOT (relkind IN ('r', 'p') AND EXISTS (SELECT FROM pg_attribute WHERE attrelid = c.oid AND attname = 'lab_id' AND NOT attisdropped))`) {
		if ofNoLab[table] == "" && !strings.HasPrefix(table, "river_") { // jobs carry their lab and enter it
			t.Errorf("%s has no lab_id: say in ofNoLab why rows of it may be seen from any lab", table)
		}
	}
	for fn, settings := range pairs(t, pool, `
		SELECT proname, concat_ws(' ', array_to_string(proconfig, ' '), CASE WHEN has_function_privilege('public', oid, 'EXECUTE') THEN 'for everybody' END)
		FROM pg_proc WHERE pronamespace = 'public'::regnamespace AND prosecdef`) {
		if acrossLabs[fn] == "" || settings != "search_path=public, pg_temp" {
			t.Errorf("%s works with its owner's rights (%s): say in acrossLabs why, pin its search_path, grant it to wetside_app alone", fn, settings)
		}
	}
	// A reference carries the lab, so that no row points into another one:
	// references are checked with the owner's rights, past row security.
	for name, columns := range pairs(t, pool, `
		SELECT conrelid::regclass || '.' || conname, array_to_string(array(
			SELECT f.attname || '=' || p.attname FROM unnest(conkey, confkey) AS k (f, p)
			JOIN pg_attribute f ON f.attrelid = conrelid AND f.attnum = k.f
			JOIN pg_attribute p ON p.attrelid = confrelid AND p.attnum = k.p), ' ')
		FROM pg_constraint WHERE contype = 'f' AND connamespace = 'public'::regnamespace
			AND EXISTS (SELECT FROM pg_attribute WHERE attrelid = conrelid AND attname = 'lab_id' AND NOT attisdropped)`) {
		if list := strings.Fields(columns); !slices.Contains(list, "lab_id=lab_id") && columns != "lab_id=id" {
			t.Errorf("%s goes by %s, without the lab", name, columns)
		}
	}
	var role string
	err := pool.QueryRow(t.Context(), `
		SELECT concat_ws(', ', CASE WHEN rolsuper THEN 'superuser' END, CASE WHEN rolbypassrls THEN 'bypasses row security' END,
			CASE WHEN rolcreaterole OR rolcreatedb OR rolreplication THEN 'more than a user' END,
			CASE WHEN EXISTS (SELECT FROM pg_auth_members WHERE member = r.oid) THEN 'member of another role' END,
			(SELECT string_agg('owns ' || relname, ', ') FROM pg_class WHERE relowner = r.oid),
			(SELECT string_agg('owns ' || proname, ', ') FROM pg_proc WHERE proowner = r.oid),
			(SELECT string_agg('may do all to ' || relname, ', ') FROM pg_class WHERE relnamespace = 'public'::regnamespace
				AND relkind = 'r' AND has_table_privilege(r.oid, oid, 'TRUNCATE, REFERENCES, TRIGGER')),
			CASE WHEN has_schema_privilege(r.oid, 'public', 'CREATE') THEN 'makes tables' END)
		FROM pg_roles r WHERE rolname = 'wetside_app'`).Scan(&role)
	if err != nil || role != "" {
		t.Errorf("wetside_app: %s %v", role, err)
	}
}

// pairs reads rows of a name and what there is to say of it.
func pairs(t testing.TB, pool *pgxpool.Pool, query string) map[string]string {
	t.Helper()
	rows, err := pool.Query(t.Context(), query)
	if err != nil {
		t.Fatal(err)
	}
	all := map[string]string{}
	var name, about string
	if _, err := pgx.ForEachRow(rows, []any{&name, &about}, func() error { all[name] = about; return nil }); err != nil || len(all) == 0 {
		t.Fatalf("%d rows: %v\n%s", len(all), err, query)
	}
	return all
}
