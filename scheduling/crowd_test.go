package scheduling_test

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/units"
	"wetside/scheduling"
)

// rollsOfALab is how many rolls each lab of a crowd has.
const rollsOfALab = 100

// crowd makes a database of many labs, all like one that has worked for a while:
// rollsOfALab rolls, most of them collected, an opening, sessions past and to
// come, bookings, a waiting entry and batches. Rows are copied within the
// database, so ids are the same in every lab: keys lead with the lab's.
func crowd(t *testing.T, labs int) *bench {
	t.Helper()
	b := furnish(t)
	b.opening("FREQ=DAILY", "06:00", 2*units.Hour)
	b.keep(scheduling.CalendarSettings{DaysAhead: ptr(14)})
	mine := b.rolls(b.ana, 6, "135-36", "reversal-3")
	theirs := b.rolls(b.bo, 4, "135-36", "reversal-3")
	must(b, b.ana, scheduling.Book, scheduling.NewBooking{Session: b.sessions[0].ID, Rolls: mine[:2]})
	must(b, b.bo, scheduling.Book, scheduling.NewBooking{Session: b.sessions[1].ID, Rolls: theirs[:1]})
	until := b.steward.Now.AddDate(0, 0, 7)
	must(b, b.bo, scheduling.Wait, scheduling.NewWaiting{From: &b.steward.Now, Until: &until, Rolls: theirs[1:2]})
	b.mixed()
	b.buy(reversalKit()) // for what is booked beside the plan
	plan, err := b.commit(b.plan(monday, monday.AddDate(0, 0, 1)))
	if err != nil || len(plan.Batches) == 0 {
		t.Fatalf("a plan with batches %+v: %v", plan.Batches, err)
	}
	b.history(rollsOfALab - len(mine) - len(theirs))
	b.multiply(labs)
	return b
}

// history gives the bench's lab a past: rolls that were booked, run and collected.
// All were spoiled, and so nobody is to be charged for them.
func (b *bench) history(rolls int) {
	b.t.Helper()
	b.exec(fmt.Sprintf(`
		SET LOCAL session_replication_role = replica; -- copies of what has been held to every rule
		CREATE TEMP TABLE past ON COMMIT DROP AS
			SELECT n, 'past' || lpad(n::text, 28, '0') AS id, interval '1 day' * (n / 2 + 2) AS ago FROM generate_series(1, %d) n;
		CREATE TEMP TABLE evening ON COMMIT DROP AS
			SELECT DISTINCT ON (n / 2) p.* FROM past p ORDER BY n / 2, n;
		INSERT INTO rolls (lab_id, id, member_id, format, length_mm, process, push, trade_area_mm2, geometric_area_mm2, reel_kind,
				priority, handed_in_at, status, dry_at)
			SELECT r.lab_id, 'roll_' || p.id, r.member_id, r.format, r.length_mm, r.process, r.push, r.trade_area_mm2, r.geometric_area_mm2,
				r.reel_kind, r.priority, r.handed_in_at - p.ago, 'collected', r.handed_in_at - p.ago
			FROM past p, (SELECT * FROM rolls WHERE status = 'on_shelf' ORDER BY id LIMIT 1) r;
		INSERT INTO sessions (lab_id, id, tank_id, operator_id, during, processes)
			SELECT e.lab_id, 'session_' || p.id, e.tank_id, e.operator_id, tstzrange(e.starts_at - p.ago, e.ends_at - p.ago), e.processes
			FROM evening p, (SELECT * FROM sessions WHERE opening_id IS NULL ORDER BY during LIMIT 1) e;
		INSERT INTO bookings (lab_id, id, member_id, session_id, created_at, confirmed_at)
			SELECT b.lab_id, 'booking_' || p.id, b.member_id, 'session_' || p.id, b.created_at - p.ago, b.created_at - p.ago
			FROM evening p, (SELECT * FROM bookings ORDER BY id LIMIT 1) b;
		INSERT INTO booking_rolls (lab_id, booking_id, roll_id)
			SELECT l.id, 'booking_' || e.id, 'roll_' || p.id FROM labs l, past p JOIN evening e ON e.n / 2 = p.n / 2;
		INSERT INTO batches (lab_id, id, plan_id, session_id, tank_id, process, push, developing_s, kit_id, mixes, start_at, wet_at, end_at,
				clear_at, placed, status)
			SELECT t.lab_id, 'batch_' || p.id, t.plan_id, 'session_' || p.id, t.tank_id, t.process, t.push, t.developing_s, t.kit_id, t.mixes,
				t.start_at - p.ago, t.wet_at - p.ago, t.end_at - p.ago, t.clear_at - p.ago, t.placed, 'spoiled'
			FROM evening p, (SELECT * FROM batches LIMIT 1) t;
		INSERT INTO batch_rolls (lab_id, batch_id, roll_id, cabinet_id, dry_at)
			SELECT r.lab_id, 'batch_' || e.id, 'roll_' || p.id, r.cabinet_id, r.dry_at - p.ago
			FROM past p JOIN evening e ON e.n / 2 = p.n / 2, (SELECT * FROM batch_rolls LIMIT 1) r;
		INSERT INTO runs (lab_id, id, batch_id, outcome, started_at, ended_at, area_mm2, note, run_sheet, recorded_by, recorded_at)
			SELECT t.lab_id, 'run_' || p.id, t.id, 'spoiled', t.start_at, t.end_at, 100000, '', '{}', s.made_by, t.end_at
			FROM evening p JOIN batches t ON t.id = 'batch_' || p.id, (SELECT made_by FROM plans LIMIT 1) s;`, rolls))
}

// multiply copies the bench's lab until there are so many.
func (b *bench) multiply(labs int) {
	b.t.Helper()
	type table struct{ Name, Columns string }
	var tables []table
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		// Not what is unique over all labs, such as codes to sign in by.
		rows, err := tx.Query(ctx, `
			SELECT c.relname, string_agg(quote_ident(a.attname), ', ' ORDER BY a.attnum) FROM pg_class c
			JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped AND a.attgenerated = '' AND a.attname <> 'lab_id'
			JOIN pg_attribute l ON l.attrelid = c.oid AND l.attname = 'lab_id' AND NOT l.attisdropped
			WHERE c.relkind = 'r' AND c.relnamespace = 'public'::regnamespace
				AND NOT EXISTS (SELECT FROM pg_index i WHERE i.indrelid = c.oid AND i.indisunique AND NOT l.attnum = ANY(i.indkey))
			GROUP BY c.relname ORDER BY c.relname`)
		if err == nil {
			tables, err = pgx.CollectRows(rows, pgx.RowToStructByPos[table])
		}
		return err
	})
	copies := fmt.Sprintf("(SELECT 'lab_' || lpad(to_hex(n), 32, '0') AS copy FROM generate_series(1, %d) n) c", labs-1)
	sql := []string{"SET LOCAL session_replication_role = replica", "SET LOCAL synchronous_commit = off"}
	for _, t := range tables {
		sql = append(sql, fmt.Sprintf("INSERT INTO %s (lab_id, %s) OVERRIDING SYSTEM VALUE SELECT c.copy, %s FROM %s t, %s WHERE t.lab_id = '%s'",
			t.Name, t.Columns, "t."+strings.ReplaceAll(t.Columns, ", ", ", t."), t.Name, copies, b.steward.Lab.ID))
	}
	sql = append(sql, "INSERT INTO labs SELECT (json_populate_record(l, json_build_object('id', c.copy))).* FROM labs l, "+copies)
	b.exec(strings.Join(sql, ";\n"))
	if _, err := b.pool.Exec(b.t.Context(), "VACUUM ANALYZE"); err != nil {
		b.t.Fatal(err)
	}
}

// exec runs statements in one transaction.
func (b *bench) exec(sql string) {
	b.t.Helper()
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		_, err := tx.Exec(ctx, sql)
		return err
	})
}

// copyOf is a scope's counterpart in the n-th lab of a crowd; the 0-th is its own.
func copyOf(s lab.Scope, n int) lab.Scope {
	if n > 0 {
		s.Lab.ID = fmt.Sprintf("lab_%032x", n)
	}
	return s
}
