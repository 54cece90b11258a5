package scheduling_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"wetside/lab"
	"wetside/lab/database"
	"wetside/lab/telling"
	"wetside/scheduling"
)

// rollsEnv names how many rolls the big database has: 100,000 unless given;
// 1,000,000 is 10,000 labs.
const rollsEnv = "WETSIDE_TEST_ROLLS"

const (
	smallLabs  = 10
	bigRows    = 2000 // rows from which on a table may not be read from end to end
	slowerThan = 1.5  // the big database may take so much longer
	morePages  = 3    // and touch so many more pages: its indexes are three levels deep, those of a small one are a single page
	warming    = 40   // how often each operation is done on each before it is timed
	timed      = 101  // and then timed
)

// TestQueryPlans does what labs do all day in a database of very many, as
// requests do it: by the role that owns nothing, with row security. It explains
// every statement that came of it, with a generic plan and with one for the
// values at hand, and times availability and booking against a small database.
func TestQueryPlans(t *testing.T) {
	t.Parallel()
	rolls := 100_000
	if n := os.Getenv(rollsEnv); n != "" {
		var err error
		if rolls, err = strconv.Atoi(n); err != nil {
			t.Fatalf("%s: %v", rollsEnv, err)
		}
	}
	labs := max(rolls/rollsOfALab, 2*smallLabs)
	began := time.Now()
	small, big := crowd(t, smallLabs), crowd(t, labs)
	t.Logf("%d labs with %d rolls in %v", labs, labs*rollsOfALab, time.Since(began).Round(time.Second))

	heard := &listener{said: map[string][]any{}}
	small.store, big.store = small.storeOf(nil), big.storeOf(heard)
	plain := big.storeOf(nil)
	big.everyday(labs / 2)
	big.store = plain
	big.explain(heard, labs/2)
	big.canSee(labs / 2)

	rng := rand.New(rand.NewPCG(1, 2))
	at := [2][]int{rng.Perm(smallLabs), rng.Perm(labs)[:smallLabs]}
	for name, op := range map[string]func(b *bench, n int) error{"availability": (*bench).lookFor, "booking": (*bench).bookOne} {
		t.Logf("%s, %d labs and %d:", name, smallLabs, labs)
		// Of labs that nobody has asked for yet: how much is read, and how long it takes once.
		pages, first := compare([]*bench{small, big}, at, smallLabs, name, op)
		t.Logf("  a lab's first: %v and %v, %d and %d pages touched", first[0], first[1], pages[0], pages[1])
		compare([]*bench{small, big}, at, warming, name, op)
		again, of := compare([]*bench{small, big}, at, timed, name, op)
		ratio := float64(of[1]) / float64(of[0])
		t.Logf("  from then on: %v and %v, %.2f times; %d and %d pages touched", of[0], of[1], ratio, again[0], again[1])
		if ratio > slowerThan {
			t.Errorf("%s takes %.2f times as long, want %.1f at most", name, ratio, slowerThan)
		}
		if again[1] > morePages*again[0] {
			t.Errorf("%s touches %d pages, and %d in the small database", name, again[1], again[0])
		}
	}
}

// compare does an operation so often in the labs of each database, by turns, the
// same number of labs in each. It gives each one's median of the pages touched,
// in memory or not, and of the time.
func compare(dbs []*bench, at [2][]int, times int, name string, op func(b *bench, n int) error) (pages [2]int64, took [2]time.Duration) {
	var touched [2][]int64
	var lasted [2][]time.Duration
	for round := range times {
		for turn := range dbs {
			i := (round + turn) % len(dbs) // neither always follows the other
			b := dbs[i]
			b.took, b.touched = 0, 0
			if err := op(b, at[i][round%len(at[i])]); err != nil {
				b.t.Fatalf("%s: %v", name, err)
			}
			touched[i] = append(touched[i], b.touched)
			lasted[i] = append(lasted[i], b.took)
		}
	}
	for i := range dbs {
		slices.Sort(touched[i])
		slices.Sort(lasted[i])
		pages[i], took[i] = touched[i][times/2], lasted[i][times/2].Round(10*time.Microsecond)
	}
	return pages, took
}

// A listener notes every statement, with the values it first came with.
type listener struct {
	mu   sync.Mutex
	said map[string][]any
}

var ofData = regexp.MustCompile(`(?is)^\s*(SELECT|INSERT|UPDATE|DELETE|WITH)\b.*\b(FROM|INTO|UPDATE)\b`)

// TraceQueryStart is pgx's call before each statement.
func (l *listener) TraceQueryStart(ctx context.Context, _ *pgx.Conn, q pgx.TraceQueryStartData) context.Context {
	l.hear(q.SQL, q.Args)
	return ctx
}

func (l *listener) hear(sql string, args []any) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if _, known := l.said[sql]; !known && ofData.MatchString(sql) {
		l.said[sql] = slices.Clone(args)
	}
}

// TraceQueryEnd is pgx's call after each statement.
func (*listener) TraceQueryEnd(context.Context, *pgx.Conn, pgx.TraceQueryEndData) {}

// TraceBatchStart is pgx's call before statements that are sent together.
func (*listener) TraceBatchStart(ctx context.Context, _ *pgx.Conn, _ pgx.TraceBatchStartData) context.Context {
	return ctx
}

// TraceBatchQuery is pgx's call after each of them.
func (l *listener) TraceBatchQuery(_ context.Context, _ *pgx.Conn, q pgx.TraceBatchQueryData) {
	l.hear(q.SQL, q.Args)
}

// TraceBatchEnd is pgx's call after all of them.
func (*listener) TraceBatchEnd(context.Context, *pgx.Conn, pgx.TraceBatchEndData) {}

// storeOf is a store as the server has one, whose statements are heard.
func (b *bench) storeOf(heard *listener) *database.Store {
	b.t.Helper()
	config := b.pool.Config()
	if heard != nil {
		config.ConnConfig.Tracer = heard
	}
	pool, err := pgxpool.NewWithConfig(b.t.Context(), config)
	if err != nil {
		b.t.Fatal(err)
	}
	b.t.Cleanup(pool.Close)
	return database.NewStore(pool, nil)
}

// asApp runs fn as a request does, in the n-th lab of the crowd.
func (b *bench) asApp(n int, s lab.Scope, opts pgx.TxOptions, fn func(ctx context.Context, tx pgx.Tx, s lab.Scope) error) error {
	s = copyOf(s, n)
	// From the first statement to the last; what is counted is asked before and after.
	return b.store.InTx(b.t.Context(), opts, s.Lab.ID, func(tx pgx.Tx) error {
		before, err := fetched(b.t.Context(), tx)
		if err != nil {
			return err
		}
		start := time.Now()
		err = fn(b.t.Context(), tx, s)
		b.took = time.Since(start)
		if err != nil && !errors.Is(err, errUndo) {
			return err
		}
		after, failed := fetched(b.t.Context(), tx)
		b.touched = after - before
		return errors.Join(err, failed)
	})
}

// fetched is how many pages of tables and indexes the transaction has asked for,
// and what came before it and is not reported yet.
func fetched(ctx context.Context, tx pgx.Tx) (pages int64, err error) {
	err = tx.QueryRow(ctx, `SELECT coalesce(sum(pg_stat_get_xact_blocks_fetched(oid)), 0)::bigint FROM pg_class
		WHERE relkind IN ('r', 'i') AND relnamespace = 'public'::regnamespace`).Scan(&pages)
	return pages, err
}

// lookFor asks when the first session takes some film.
func (b *bench) lookFor(n int) error {
	return b.asApp(n, b.ana, database.Reading, func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		found, err := scheduling.FindAvailability(ctx, tx, s, scheduling.Wish{Limit: 2,
			Films: []scheduling.Film{{Format: "cine-8-15m", Process: "reversal-3", Count: 1}, {Format: "135-36", Process: "reversal-3", Count: 2}}})
		if err == nil && len(found.Offers) != 2 {
			err = fmt.Errorf("offers %+v", found)
		}
		return err
	})
}

// bookOne hands a roll in and books it, which is then undone.
func (b *bench) bookOne(n int) error {
	err := b.asApp(n, b.ana, database.Writing, func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		roll, err := scheduling.HandIn(ctx, tx, s, scheduling.NewRoll{Format: "135-36", Process: "reversal-3"})
		if err != nil {
			return err
		}
		if _, err = scheduling.Book(ctx, tx, s, scheduling.NewBooking{Session: b.sessions[2].ID, Rolls: []string{roll.ID}}); err != nil {
			return err
		}
		return errUndo
	})
	if errors.Is(err, errUndo) {
		return nil
	}
	return err
}

// everyday does what members and stewards do, in the n-th lab.
func (b *bench) everyday(n int) {
	b.t.Helper()
	type deed = func(ctx context.Context, tx pgx.Tx, s lab.Scope) error
	do := func(name string, who lab.Scope, opts pgx.TxOptions, fn deed) {
		b.t.Helper()
		if err := b.asApp(n, who, opts, fn); err != nil && !errors.Is(err, errUndo) {
			b.t.Fatalf("%s: %v", name, err)
		}
	}
	page := lab.Page{Limit: 50}
	var roll scheduling.Roll
	var booking scheduling.Booking
	for name, op := range map[string]func(*bench, int) error{"availability": (*bench).lookFor, "book": (*bench).bookOne} {
		if err := op(b, n); err != nil {
			b.t.Fatalf("%s: %v", name, err)
		}
	}
	do("hand in", b.ana, database.Writing, func(ctx context.Context, tx pgx.Tx, s lab.Scope) (err error) {
		roll, err = scheduling.HandIn(ctx, tx, s, scheduling.NewRoll{Format: "135-36", Process: "reversal-3"})
		return err
	})
	do("hold", b.ana, database.Writing, func(ctx context.Context, tx pgx.Tx, s lab.Scope) (err error) {
		booking, err = scheduling.Book(ctx, tx, s, scheduling.NewBooking{Session: b.sessions[2].ID, Rolls: []string{roll.ID}, Hold: true})
		return err
	})
	do("confirm", b.ana, database.Writing, func(ctx context.Context, tx pgx.Tx, s lab.Scope) (err error) {
		booking, err = scheduling.ConfirmBooking(ctx, tx, s, booking.ID, booking.Version)
		return err
	})
	do("move", b.ana, database.Writing, func(ctx context.Context, tx pgx.Tx, s lab.Scope) (err error) {
		booking, err = scheduling.ChangeBooking(ctx, tx, s, booking.ID, booking.Version, scheduling.BookingChange{Session: &b.sessions[1].ID})
		return err
	})
	do("read", b.ana, database.Reading, func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		_, err1 := scheduling.FindBooking(ctx, tx, s, booking.ID)
		_, err2 := scheduling.ListBookings(ctx, tx, s, "", page)
		_, err3 := scheduling.ListRolls(ctx, tx, s, scheduling.RollFilter{}, page)
		found, err4 := scheduling.ListSessions(ctx, tx, s, s.Now, s.Now.AddDate(0, 0, 14), page)
		_, err5 := scheduling.WithPlaces(ctx, tx, s, found.Items, nil)
		_, err6 := scheduling.FindBookingRecord(ctx, tx, s, s.By.ID)
		_, err7 := scheduling.ListWaiting(ctx, tx, s, page)
		_, err8 := scheduling.ReadBoard(ctx, tx, s)
		_, err9 := scheduling.ReadCalendar(ctx, tx, s.Lab.ID)
		return errors.Join(err1, err2, err3, err4, err5, err6, err7, err8, err9)
	})
	do("messages", b.ana, database.Reading, func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		_, err := telling.Messages(ctx, tx, s, page)
		return err
	})
	do("the steward reads", b.steward, database.Reading, func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		_, err1 := scheduling.ListBookings(ctx, tx, s, b.sessions[1].ID, page)
		_, err2 := scheduling.ListRolls(ctx, tx, s, scheduling.RollFilter{Status: "on_shelf"}, page)
		_, err3 := scheduling.ListBatches(ctx, tx, s.Lab.ID, scheduling.BatchFilter{}, page)
		return errors.Join(err1, err2, err3)
	})
	do("cancel", b.ana, database.Writing, func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		_, err := scheduling.CancelBooking(ctx, tx, s, booking.ID, booking.Version)
		return err
	})
	do("wait", b.ana, database.Writing, func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		until := s.Now.AddDate(0, 0, 7)
		_, err := scheduling.Wait(ctx, tx, s, scheduling.NewWaiting{From: &s.Now, Until: &until, Rolls: []string{roll.ID}})
		return err
	})
	do("open days", b.steward, database.Writing, func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		_, err := scheduling.OpenWeek(ctx, tx, s, scheduling.NewWeek{Week: "2027-W26"})
		return err
	})
	do("plan", b.steward, database.Writing, func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		plan, err := scheduling.MakePlan(ctx, tx, s, scheduling.NewPlan{From: monday.AddDate(0, 0, 1), Until: monday.AddDate(0, 0, 2)})
		if err == nil {
			_, err = scheduling.CommitPlan(ctx, tx, s, plan.ID, plan.Version)
		}
		return err
	})
}

// explain fails on every statement heard of which a plan reads a big table from
// end to end.
func (b *bench) explain(heard *listener, n int) {
	b.t.Helper()
	var big []string
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `SELECT relname FROM pg_class WHERE relkind = 'r' AND relnamespace = 'public'::regnamespace AND reltuples >= $1 ORDER BY 1`, bigRows)
		if err == nil {
			big, err = pgx.CollectRows(rows, pgx.RowTo[string])
		}
		return err
	})
	plans := 0
	for _, sql := range slices.Sorted(maps.Keys(heard.said)) {
		for kind, run := range map[string]func(ctx context.Context, tx pgx.Tx) ([]byte, error){
			"for its values": func(ctx context.Context, tx pgx.Tx) (plan []byte, err error) {
				err = tx.QueryRow(ctx, "EXPLAIN (FORMAT JSON) "+sql, heard.said[sql]...).Scan(&plan)
				return plan, err
			},
			"generic": func(ctx context.Context, tx pgx.Tx) (plan []byte, err error) {
				if _, err := tx.Exec(ctx, "SET LOCAL plan_cache_mode = force_generic_plan"); err != nil {
					return nil, err
				}
				if _, err := tx.Exec(ctx, "PREPARE heard AS "+sql, pgx.QueryExecModeSimpleProtocol); err != nil {
					return nil, err
				}
				execute := "EXECUTE heard"
				if k := len(heard.said[sql]); k > 0 {
					execute += "(" + strings.Repeat("NULL, ", k-1) + "NULL)"
				}
				err = tx.QueryRow(ctx, "EXPLAIN (FORMAT JSON) "+execute, pgx.QueryExecModeSimpleProtocol).Scan(&plan)
				if err == nil {
					_, err = tx.Exec(ctx, "DEALLOCATE heard")
				}
				return plan, err
			},
		} {
			var plan []byte
			err := b.asApp(n, b.steward, database.Writing, func(ctx context.Context, tx pgx.Tx, _ lab.Scope) (err error) {
				plan, err = run(ctx, tx)
				return err
			})
			if err != nil {
				b.t.Errorf("%s plan of %s: %v", kind, sql, err)
				continue
			}
			plans++
			var nodes []struct{ Plan map[string]any }
			if err := json.Unmarshal(plan, &nodes); err != nil {
				b.t.Fatal(err)
			}
			for _, bad := range endToEnd(nodes[0].Plan, big) {
				b.t.Errorf("the %s plan reads %s from end to end:\n%s", kind, bad, sql)
			}
		}
	}
	b.t.Logf("%d statements, %d plans, %d tables of %d rows or more: %s", len(heard.said), plans, len(big), bigRows, strings.Join(big, ", "))
	if len(heard.said) < 50 || !slices.Contains(big, "rolls") {
		b.t.Error("the test hears too little")
	}
}

// canSee has PostgreSQL do what the test is there to see.
func (b *bench) canSee(n int) {
	b.t.Helper()
	for setting, want := range map[string]string{"enable_bitmapscan": "", "enable_indexscan": "rolls"} {
		err := b.asApp(n, b.steward, database.Writing, func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
			if _, err := tx.Exec(ctx, "SET LOCAL enable_bitmapscan = off; SET LOCAL "+setting+" = off"); err != nil {
				return err
			}
			var plan []byte
			err := tx.QueryRow(ctx, "EXPLAIN (FORMAT JSON) SELECT note FROM rolls WHERE lab_id = $1 AND id = 'roll_x'", s.Lab.ID).Scan(&plan)
			if err != nil {
				return err
			}
			var nodes []struct{ Plan map[string]any }
			if err := json.Unmarshal(plan, &nodes); err != nil {
				return err
			}
			if bad := endToEnd(nodes[0].Plan, []string{"rolls"}); strings.Join(bad, "") != want {
				b.t.Errorf("without %s it sees %q read from end to end, want %q", setting, bad, want)
			}
			return nil
		})
		if err != nil {
			b.t.Fatal(err)
		}
	}
}

// endToEnd names what a plan reads from end to end of tables: by a sequential
// scan, or by an index without a condition.
func endToEnd(node map[string]any, tables []string) (bad []string) {
	kind, _ := node["Node Type"].(string)
	table, _ := node["Relation Name"].(string)
	_, conditioned := node["Index Cond"]
	switch {
	case kind == "Seq Scan" && slices.Contains(tables, table):
		bad = append(bad, table)
	case (kind == "Index Scan" || kind == "Index Only Scan") && !conditioned && slices.Contains(tables, table):
		bad = append(bad, table+" by "+fmt.Sprint(node["Index Name"]))
	case kind == "Bitmap Index Scan" && !conditioned:
		bad = append(bad, fmt.Sprint(node["Index Name"]))
	}
	children, _ := node["Plans"].([]any)
	for _, c := range children {
		bad = append(bad, endToEnd(c.(map[string]any), tables)...)
	}
	return bad
}
