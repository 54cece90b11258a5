package scheduling_test

import (
	"context"
	"crypto/rand"
	"fmt"
	"log/slog"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/deploy/testdb"
	"wetside/lab"
	"wetside/lab/database"
	"wetside/lab/jobs"
	"wetside/lab/units"
	"wetside/scheduling"
)

// The job engine opens the days ahead, four days running: every day has one
// session, and the stewards hear once of the day that the clocks skip.
func TestDaysAreOpenedByTheEngine(t *testing.T) {
	t.Parallel()
	b := &bench{t: t, pool: testdb.New(t)}
	zone, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		t.Fatal(err)
	}
	// Two days ahead, 28 March, the clocks skip 01:00 to 02:00.
	today := time.Date(2027, 3, 26, 12, 0, 0, 0, zone)
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		f, err := lab.Found(ctx, tx, lab.NewLab{Name: "Test lab", TimeZone: "Europe/Lisbon", Currency: "EUR", Keeper: "Keeper"}, today, today, rand.Reader)
		if err != nil {
			return err
		}
		b.steward = lab.Scope{Lab: f.Lab, By: f.Keeper, Now: today.UTC()}
		return b.equip(ctx, tx)
	})
	b.opening("FREQ=DAILY", "01:30", units.Hour)
	b.keep(scheduling.CalendarSettings{DaysAhead: ptr(2), SkippedHour: ptr(scheduling.DropSkipped)})
	const (
		done     = `SELECT count(*) FROM river_job WHERE kind = 'open-days-ahead' AND state = 'completed'`
		sessions = `SELECT count(*) FROM sessions WHERE cancelled_at IS NULL`
		notices  = `SELECT count(*) FROM messages WHERE kind = 'days-skipped'`
	)
	for day, want := range []struct{ sessions, notices int }{{1, 0}, {1, 1}, {2, 1}, {3, 1}} {
		now := today.AddDate(0, 0, day)
		b.engageOn(now, func() {
			// What keeps the engine from a second job on one real day is not what is tried here.
			b.until(1, done)
		})
		b.exec(`DELETE FROM river_job`)
		if got := b.number(sessions); got != want.sessions {
			t.Errorf("on %s there are %d sessions, want %d", now.Format(time.DateOnly), got, want.sessions)
		}
		if got := b.number(notices); got != want.notices {
			t.Errorf("on %s there are %d notices of days skipped, want %d", now.Format(time.DateOnly), got, want.notices)
		}
	}
	var text string
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		return tx.QueryRow(ctx, `SELECT text FROM messages WHERE kind = 'days-skipped'`).Scan(&text)
	})
	if !strings.Contains(text, "2027-03-28 (the clocks skip 01:30 that day)") {
		t.Errorf("the stewards are told %q", text)
	}
}

// engageOn runs an engine with the package's works, whose clock stands.
func (b *bench) engageOn(now time.Time, meanwhile func()) {
	b.t.Helper()
	e, err := jobs.New(jobs.Config{Pool: b.pool, Store: database.NewStore(b.pool, nil), Log: slog.New(slog.DiscardHandler),
		Clock: func() time.Time { return now.UTC() }, Workers: 2}, scheduling.Works()...)
	if err != nil {
		b.t.Fatal(err)
	}
	if err := e.Start(b.t.Context()); err != nil {
		b.t.Fatal(err)
	}
	meanwhile()
	if err := e.Stop(context.WithoutCancel(b.t.Context())); err != nil {
		b.t.Fatal(err)
	}
}

func (b *bench) number(query string) (n int) {
	b.t.Helper()
	if err := b.pool.QueryRow(b.t.Context(), query).Scan(&n); err != nil {
		b.t.Fatal(fmt.Errorf("%s: %w", query, err))
	}
	return n
}

// until waits for a count that a query gives.
func (b *bench) until(want int, query string) {
	b.t.Helper()
	for deadline := time.Now().Add(20 * time.Second); b.number(query) != want; time.Sleep(10 * time.Millisecond) {
		if time.Now().After(deadline) {
			b.t.Fatalf("%s: %d, still waiting for %d", query, b.number(query), want)
		}
	}
}
