package api_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"

	"wetside/api/apitest"
	"wetside/deploy/demo"
	"wetside/lab/database"
)

// ofNoLab are the tables without a lab_id, and why rows of theirs may be seen
// from any lab. A new one is added here by whoever has thought about it.
var ofNoLab = map[string]string{
	"labs":             "is guarded by its own id",
	"idempotency_keys": "is guarded by the lab that its principal begins with",
	"signing_keys":     "are the whole installation's, and sealed",
	"goose_db_version": "says which migrations were applied",
}

// acrossLabs are the functions that look across labs on purpose.
var acrossLabs = map[string]string{
	"every_lab":            "the setup code lists labs, jobs go through them",
	"lab_of_sign_in_code":  "a sign-in code says by itself which lab it is of",
	"forget_first_answers": "first answers are swept by age",
}

// An attempt is a statement that tries, from another lab, to reach rows of
// $lab in $table; $own is the lab that it works in.
type attempt struct {
	name, sql string
	// how it must fail; empty: it must go through and tell or change nothing.
	// Where the role has no such privilege at all it may fail with that.
	sqlState string
}

var attempts = []attempt{
	{"select", `SELECT count(*) FROM $table WHERE lab_id = $lab`, ""},
	{"select all", `SELECT count(*) FROM $table WHERE lab_id <> $own`, ""},
	{"inner join", `SELECT count(*) FROM $table a JOIN $table b ON a.lab_id <> b.lab_id`, ""},
	{"outer join", `SELECT count(t.lab_id) FROM (SELECT $lab AS id) l LEFT JOIN $table t ON t.lab_id = l.id`, ""},
	{"join of labs", `SELECT count(*) FROM labs l JOIN $table t ON t.lab_id = l.id WHERE l.id <> $own`, ""},
	{"lateral", `SELECT count(*) FROM (SELECT $lab AS id) l, LATERAL (SELECT FROM $table t WHERE t.lab_id = l.id) t`, ""},
	{"exists", `SELECT EXISTS (SELECT FROM $table WHERE lab_id = $lab)::int`, ""},
	{"not in", `SELECT count(*) FROM $table WHERE lab_id NOT IN ($own)`, ""},
	{"aggregate", `SELECT length(coalesce(string_agg(lab_id, ''), '')) FROM $table WHERE lab_id <> $own`, ""},
	{"union", `SELECT count(*) FROM (SELECT lab_id FROM $table UNION SELECT $own) u WHERE lab_id <> $own`, ""},
	{"lock", `SELECT count(*) FROM (SELECT FROM $table WHERE lab_id = $lab FOR UPDATE) l`, ""},
	{"function that runs SQL", `SELECT count(*) FROM xmltable('/table/row' PASSING query_to_xml('SELECT 1 FROM $table WHERE lab_id <> ''' || $own || '''', true, false, '') COLUMNS n int)`, ""},
	{"function that gives rows away in its error", `SELECT count(*) FROM $table WHERE lab_id <> $own AND (lab_id || ' seen')::int > 0`, ""},
	{"view", `CREATE TEMPORARY VIEW seen AS SELECT * FROM $table; SELECT count(*) FROM seen WHERE lab_id <> $own`, ""},
	{"function of one's own", `CREATE FUNCTION pg_temp.seen() RETURNS bigint LANGUAGE sql AS $f$SELECT count(*) FROM $table WHERE lab_id <> $own$f$; SELECT pg_temp.seen()`, ""},
	{"cursor", `DECLARE seen CURSOR FOR SELECT 1 FROM $table WHERE lab_id = $lab; FETCH ALL FROM seen`, ""},
	{"prepared", `PREPARE seen AS SELECT count(*) FROM $table WHERE lab_id = $lab; EXECUTE seen; DEALLOCATE seen`, ""},
	{"copy out", `COPY (SELECT 1 FROM $table WHERE lab_id <> $own) TO STDOUT`, ""},
	{"without row security", `SET LOCAL row_security = off; SELECT count(*) FROM $table`, "42501"},

	{"update", `UPDATE $table SET lab_id = lab_id WHERE lab_id = $lab`, ""},
	{"update by join", `UPDATE $table t SET lab_id = t.lab_id FROM labs l WHERE t.lab_id <> $own`, ""},
	{"update into the other lab", `UPDATE $table SET lab_id = $lab`, "42501"},
	{"delete", `DELETE FROM $table WHERE lab_id = $lab`, ""},
	{"delete by using", `DELETE FROM $table t USING labs l WHERE t.lab_id <> $own`, ""},
	{"merge", `MERGE INTO $table t USING (SELECT $lab AS id) l ON t.lab_id = l.id WHEN MATCHED THEN DELETE`, ""},
	{"in a query's writes", `WITH gone AS (DELETE FROM $table WHERE lab_id = $lab RETURNING 1) SELECT count(*) FROM gone`, ""},
	{"insert", `INSERT INTO $table $columns OVERRIDING SYSTEM VALUE SELECT $columns FROM jsonb_populate_record(NULL::$table, $row)`, "42501"},
	{"insert or not", `INSERT INTO $table $columns OVERRIDING SYSTEM VALUE SELECT $columns FROM jsonb_populate_record(NULL::$table, $row) ON CONFLICT DO NOTHING`, "42501"},
	{"truncate", `TRUNCATE $table CASCADE`, "42501"},
	{"copy in", `COPY $table FROM STDIN`, "0A000"},

	{"switch it off", `ALTER TABLE $table DISABLE ROW LEVEL SECURITY`, "42501"},
	{"drop the policy", `DROP POLICY own_lab ON $table`, "42501"},
	{"another policy", `CREATE POLICY all_labs ON $table USING (true)`, "42501"},
	{"take the table", `ALTER TABLE $table OWNER TO wetside_app`, "42501"},
	{"a trigger", `CREATE TRIGGER mine BEFORE INSERT ON $table FOR EACH ROW EXECUTE FUNCTION suppress_redundant_updates_trigger()`, "42501"},
	{"inherit", `CREATE TEMPORARY TABLE heir () INHERITS ($table)`, "42501"},
	{"guard it anew", `SELECT guard_lab('$table')`, "42501"},
}

// TestRowSecurity tries, as the role that requests and jobs work as, to read
// and write rows of another lab: every table and every verb, with statements
// that forget to ask for their own lab. Every table has rows of both labs.
func TestRowSecurity(t *testing.T) {
	t.Parallel()
	server := apitest.Start(t)
	told, err := demo.Play(t.Context(), demo.Options{URL: server.URL, SetupCode: apitest.SetupCode, HTTP: apitest.HTTP(t),
		Now: time.Date(2026, 11, 25, 8, 30, 0, 0, time.UTC), Log: t.Output()})
	if err != nil {
		t.Fatal(err)
	}
	g := &guarded{t: t, owner: server.Pool, theirs: told.Lab, own: "lab_own"}
	tables := g.tables()
	g.populate(tables)
	before := g.sums(tables)
	store := database.NewStore(server.Pool, nil)
	tried := 0
	for _, table := range tables {
		for _, a := range attempts {
			for _, lab := range []string{g.own, ""} { // in another lab, and in none
				tried++
				if err := g.try(store, table, a, lab); err != nil {
					t.Errorf("%s, %s, in lab %q: %v", table.name, a.name, lab, err)
				}
			}
		}
		tried++ // and the lab's own rows are there
		if n, err := g.visible(store, table); err != nil || n != table.own {
			t.Errorf("%s: %d of %d rows of one's own are there: %v", table.name, n, table.own, err)
		}
	}
	for name, sum := range g.sums(tables) {
		if sum != before[name] {
			t.Errorf("%s: rows of the other lab were changed", name)
		}
	}
	g.sharp(store, tables)
	t.Logf("%d cases: %d tables, %d statements on each from another lab and from none", tried, len(tables), len(attempts))
}

// A guarded table, with the columns that a row can be given.
type guardedTable struct {
	name, columns, row string
	made               bool // no row of the story's: one was made up
	own                int
}

type guarded struct {
	t           *testing.T
	owner       *pgxpool.Pool
	theirs, own string // labs
}

// tables are all that have a lab_id.
func (g *guarded) tables() (all []*guardedTable) {
	rows, err := g.owner.Query(g.t.Context(), `
		SELECT c.relname, string_agg(quote_ident(a.attname), ', ' ORDER BY a.attnum) FILTER (WHERE a.attgenerated = '')
		FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped
		WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p')
		GROUP BY c.relname HAVING bool_or(a.attname = 'lab_id') ORDER BY c.relname`)
	if err == nil {
		all, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (*guardedTable, error) {
			t := new(guardedTable)
			return t, row.Scan(&t.name, &t.columns)
		})
	}
	if err != nil || len(all) < 30 {
		g.t.Fatalf("%d tables: %v", len(all), err)
	}
	return all
}

// populate makes up a row of the other lab where the story left none, and
// copies all its rows into our own lab. Constraints do not matter for that.
func (g *guarded) populate(tables []*guardedTable) {
	g.tx(func(ctx context.Context, tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, `SET LOCAL session_replication_role = replica`); err != nil {
			return err
		}
		if _, err := tx.Exec(ctx, `INSERT INTO labs SELECT (jsonb_populate_record(l, jsonb_build_object('id', $2::text))).* FROM labs l WHERE id = $1`, g.theirs, g.own); err != nil {
			return err
		}
		for _, table := range tables {
			if err := g.makeUp(ctx, tx, table); err != nil {
				return fmt.Errorf("make a row of %s up: %w", table.name, err)
			}
			tag, err := tx.Exec(ctx, fmt.Sprintf(`INSERT INTO %[1]s (%[2]s) OVERRIDING SYSTEM VALUE SELECT %[2]s FROM (
				SELECT (jsonb_populate_record(t, jsonb_build_object('lab_id', $2::text)%[3]s)).* FROM %[1]s t WHERE lab_id = $1) own`,
				table.name, table.columns, keysWithoutLab[table.name]), g.theirs, g.own)
			if err != nil {
				return fmt.Errorf("copy %s: %w", table.name, err)
			}
			table.own = int(tag.RowsAffected())
			if err := tx.QueryRow(ctx, `SELECT to_jsonb(t) FROM `+table.name+` t WHERE lab_id = $1 LIMIT 1`, g.theirs).Scan(&table.row); err != nil {
				return err
			}
		}
		return nil
	})
}

// keysWithoutLab makes rows of their own for tables whose key is random enough
// to need no lab.
var keysWithoutLab = map[string]string{
	"sign_in_codes": ` || jsonb_build_object('code_sha256', '\x' || encode(sha256(code_sha256), 'hex'))`,
}

// makeUp makes a row up if there is none: what it says makes no sense, and the
// table's checks are dropped for it.
func (g *guarded) makeUp(ctx context.Context, tx pgx.Tx, table *guardedTable) error {
	err := tx.QueryRow(ctx, `SELECT NOT EXISTS (SELECT FROM `+table.name+` WHERE lab_id = $1)`, g.theirs).Scan(&table.made)
	if err != nil || !table.made {
		return err
	}
	var values string
	err = tx.QueryRow(ctx, `SELECT string_agg(CASE
			WHEN attname = 'lab_id' THEN quote_literal($2::text)
			WHEN typcategory = 'S' THEN quote_literal('x')
			WHEN typcategory = 'N' THEN '1'
			WHEN typcategory = 'B' THEN 'true'
			WHEN typname IN ('time', 'timetz') THEN quote_literal('12:00')
			WHEN typname LIKE '%multirange' THEN quote_literal('{}')
			WHEN typcategory = 'D' THEN quote_literal('2026-11-25')
			WHEN typcategory = 'A' THEN quote_literal('{}')
			WHEN typname = 'bytea' THEN quote_literal('x')
			WHEN typname IN ('json', 'jsonb') THEN quote_literal('{}')
			WHEN typname = 'uuid' THEN 'gen_random_uuid()'
			WHEN typcategory = 'R' THEN quote_literal('empty')
			WHEN typcategory = 'T' THEN quote_literal('1 day')
			ELSE 'DEFAULT' END, ', ' ORDER BY attnum)
		FROM pg_attribute JOIN pg_type ON pg_type.oid = atttypid
		WHERE attrelid = $1::regclass AND attnum > 0 AND NOT attisdropped AND attgenerated = ''`, table.name, g.theirs).Scan(&values)
	if err != nil {
		return err
	}
	var checks []string
	err = tx.QueryRow(ctx, `SELECT coalesce(array_agg(quote_ident(conname)), '{}') FROM pg_constraint
		WHERE conrelid = $1::regclass AND contype = 'c'`, table.name).Scan(&checks)
	if err != nil {
		return err
	}
	for _, check := range checks {
		if _, err := tx.Exec(ctx, `ALTER TABLE `+table.name+` DROP CONSTRAINT `+check); err != nil {
			return err
		}
	}
	_, err = tx.Exec(ctx, fmt.Sprintf(`INSERT INTO %s (%s) OVERRIDING SYSTEM VALUE VALUES (%s)`, table.name, table.columns, values))
	return err
}

// try runs one attempt, and fails if it told or changed anything.
func (g *guarded) try(store *database.Store, table *guardedTable, a attempt, lab string) error {
	quote := func(s string) string { return "'" + strings.ReplaceAll(s, "'", "''") + "'" }
	sql := strings.NewReplacer("INTO $table $columns", "INTO "+table.name+" ("+table.columns+")", "$table", table.name, "$columns", table.columns,
		"$lab", quote(g.theirs), "$own", quote(g.own), "$row", quote(table.row)).Replace(a.sql)
	var answers []string
	undo := errors.New("undo")
	err := store.InTx(g.t.Context(), database.Writing, lab, func(tx pgx.Tx) error {
		if strings.HasSuffix(sql, "FROM STDIN") {
			_, err := tx.Conn().PgConn().CopyFrom(g.t.Context(), strings.NewReader(""), sql)
			return errors.Join(err, undo)
		}
		if strings.HasPrefix(sql, "COPY") {
			var out strings.Builder
			_, err := tx.Conn().PgConn().CopyTo(g.t.Context(), &out, sql)
			answers = append(answers, strings.Fields(out.String())...)
			return errors.Join(err, undo)
		}
		results, err := tx.Conn().PgConn().Exec(g.t.Context(), sql).ReadAll()
		for _, r := range results {
			for _, row := range r.Rows {
				answers = append(answers, string(row[0]))
			}
			if n := r.CommandTag.RowsAffected(); n > 0 && !r.CommandTag.Select() && len(r.Rows) == 0 {
				answers = append(answers, fmt.Sprintf("%d rows changed", n))
			}
		}
		return errors.Join(err, undo)
	})
	var pg *pgconn.PgError
	errors.As(err, &pg)
	switch {
	case pg == nil && !errors.Is(err, undo):
		return err
	case pg != nil && pg.Code == "42501", pg != nil && pg.Code == a.sqlState:
		return nil
	case pg != nil:
		return err
	case lab == "" && strings.HasPrefix(a.sql, "UPDATE"): // nothing of one's own to change either
	case a.sqlState != "":
		return fmt.Errorf("went through: %s", answers)
	}
	for _, answer := range answers {
		if answer != "0" {
			return fmt.Errorf("answered %s", answers)
		}
	}
	return nil
}

// sharp takes a table's guard off and sees every attempt succeed that it kept
// from doing so.
func (g *guarded) sharp(store *database.Store, tables []*guardedTable) {
	i := slices.IndexFunc(tables, func(t *guardedTable) bool { return t.name == "top_ups" })
	if _, err := g.owner.Exec(g.t.Context(), `ALTER TABLE top_ups DISABLE ROW LEVEL SECURITY`); err != nil {
		g.t.Fatal(err)
	}
	for _, a := range attempts[:slices.IndexFunc(attempts, func(a attempt) bool { return a.name == "truncate" })] {
		// A join of labs finds those guarded still; a row anew is there already, which is no matter of labs.
		if a.name == "join of labs" || a.name == "insert" || a.name == "insert or not" {
			continue
		}
		if err := g.try(store, tables[i], a, g.own); err == nil {
			g.t.Errorf("%s tells or changes nothing even without row security", a.name)
		}
	}
}

func (g *guarded) visible(store *database.Store, table *guardedTable) (n int, err error) {
	err = store.InTx(g.t.Context(), database.Reading, g.own, func(tx pgx.Tx) error {
		return tx.QueryRow(g.t.Context(), `SELECT count(*) FROM `+table.name).Scan(&n)
	})
	return n, err
}

// sums tell whether rows of the other lab have changed.
func (g *guarded) sums(tables []*guardedTable) map[string]string {
	all := map[string]string{}
	for _, table := range tables {
		var sum string
		err := g.owner.QueryRow(g.t.Context(), `SELECT count(*) || ' ' || md5(string_agg(t::text, '' ORDER BY t::text)) FROM `+table.name+` t WHERE lab_id = $1`, g.theirs).Scan(&sum)
		if err != nil {
			g.t.Fatal(table.name, err)
		}
		all[table.name] = sum
	}
	return all
}

func (g *guarded) tx(f func(context.Context, pgx.Tx) error) {
	g.t.Helper()
	if err := pgx.BeginFunc(g.t.Context(), g.owner, func(tx pgx.Tx) error { return f(g.t.Context(), tx) }); err != nil {
		g.t.Fatal(err)
	}
}
