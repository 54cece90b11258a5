package jobs_test

import (
	"context"
	"encoding/json"
	"errors"
	"log/slog"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"wetside/deploy/testdb"
	"wetside/lab"
	"wetside/lab/database"
	"wetside/lab/jobs"
)

// workshop is a lab with an engine that does the given works.
type workshop struct {
	t     *testing.T
	pool  *pgxpool.Pool
	store *database.Store
	scope lab.Scope
}

func newWorkshop(t *testing.T) *workshop {
	t.Helper()
	w := &workshop{t: t, pool: testdb.New(t)}
	w.store = database.NewStore(w.pool, nil)
	_, err := w.pool.Exec(t.Context(), `INSERT INTO labs (id, name, time_zone, currency, area_rule, developing_tolerance_permille,
		room_temperature_mc, heater_efficiency_permille, created_at) VALUES ('lab_1', 'Basement', 'Europe/Lisbon', 'EUR', 'trade', 0, 20000, 800, now())`)
	if err != nil {
		t.Fatal(err)
	}
	w.scope = lab.Scope{Lab: lab.Lab{ID: "lab_1"}, Now: time.Now().UTC()}
	return w
}

// engage starts an engine, which stops when the test ends.
func (w *workshop) engage(works ...jobs.Work) {
	w.t.Helper()
	e, err := jobs.New(jobs.Config{Pool: w.pool, Store: w.store, Log: slog.New(slog.DiscardHandler), Workers: 4}, works...)
	if err != nil {
		w.t.Fatal(err)
	}
	if err := e.Start(w.t.Context()); err != nil {
		w.t.Fatal(err)
	}
	w.t.Cleanup(func() {
		if err := e.Stop(context.Background()); err != nil {
			w.t.Error(err)
		}
	})
}

func (w *workshop) inTx(f func(pgx.Tx) error) error {
	return w.store.InTx(w.t.Context(), database.Writing, "lab_1", f)
}

// until waits for a count that a query gives.
func (w *workshop) until(want int, query string) {
	w.t.Helper()
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(10 * time.Millisecond) {
		var n int
		if err := w.pool.QueryRow(w.t.Context(), query).Scan(&n); err != nil {
			w.t.Fatal(err)
		}
		if n == want {
			return
		}
		if time.Now().After(deadline) {
			w.t.Fatalf("%s: %d, still waiting for %d", query, n, want)
		}
	}
}

const ended = `SELECT count(*) FROM river_job WHERE kind = 'rename' AND state = 'completed'`

// rename appends to the lab's name, so that work done twice is seen.
func rename(ctx context.Context, tx pgx.Tx, s lab.Scope, suffix string) error {
	_, err := tx.Exec(ctx, `UPDATE labs SET name = name || $2 WHERE id = $1`, s.Lab.ID, suffix)
	return err
}

func (w *workshop) name() string {
	w.t.Helper()
	var name string
	if err := w.pool.QueryRow(w.t.Context(), `SELECT name FROM labs`).Scan(&name); err != nil {
		w.t.Fatal(err)
	}
	return name
}

func TestAJobIsDoneIfItsTransactionCommitted(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.engage(jobs.Work{Kind: "rename", Do: jobs.Payload(rename)})
	undone := errors.New("undone")
	if err := w.inTx(func(tx pgx.Tx) error {
		return errors.Join(jobs.Soon(t.Context(), tx, "lab_1", "rename", "-rolled-back"), undone)
	}); !errors.Is(err, undone) {
		t.Fatal(err)
	}
	if err := w.inTx(func(tx pgx.Tx) error { return jobs.Soon(t.Context(), tx, "lab_1", "rename", "-done") }); err != nil {
		t.Fatal(err)
	}
	w.until(1, ended)
	if got := w.name(); got != "Basement-done" {
		t.Errorf("the lab's name is %s", got)
	}
}

func TestAJobThatFailsIsTriedAgainAndWritesOnce(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	var tries atomic.Int32
	w.engage(jobs.Work{Kind: "rename", Pauses: []time.Duration{time.Millisecond, time.Millisecond},
		Do: func(ctx context.Context, tx pgx.Tx, s lab.Scope, _ json.RawMessage) error {
			if err := rename(ctx, tx, s, "-once"); err != nil {
				return err
			}
			if tries.Add(1) < 3 {
				return errors.New("not yet")
			}
			return nil
		}})
	if err := w.inTx(func(tx pgx.Tx) error { return jobs.Soon(t.Context(), tx, "lab_1", "rename", nil) }); err != nil {
		t.Fatal(err)
	}
	w.until(1, ended)
	if got := w.name(); got != "Basement-once" || tries.Load() != 3 {
		t.Errorf("after %d tries the lab's name is %s", tries.Load(), got)
	}
}

func TestAJobIsGivenUpWhenRefusedOrTriedOftenEnough(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	var refused, failed atomic.Int32
	w.engage(
		jobs.Work{Kind: "refused", Do: func(context.Context, pgx.Tx, lab.Scope, json.RawMessage) error {
			refused.Add(1)
			return lab.Refuse(lab.Conflict, "too-late", "Ann was too late")
		}},
		jobs.Work{Kind: "failing", Pauses: []time.Duration{time.Millisecond}, Outside: func(_ context.Context, j jobs.Job) error {
			if failed.Add(1) == 2 != j.Last {
				t.Errorf("try %d says last: %t", failed.Load(), j.Last)
			}
			return errors.New("no answer")
		}})
	if err := w.inTx(func(tx pgx.Tx) error {
		return errors.Join(jobs.Soon(t.Context(), tx, "lab_1", "refused", nil), jobs.Send(t.Context(), tx, "lab_1", "failing", 1))
	}); err != nil {
		t.Fatal(err)
	}
	w.until(2, `SELECT count(*) FROM river_job WHERE state = 'cancelled'`)
	if refused.Load() != 1 || failed.Load() != 2 {
		t.Errorf("refused %d times, failed %d times", refused.Load(), failed.Load())
	}
	w.until(0, `SELECT count(*) FROM river_job WHERE errors::text LIKE '%Ann%'`)
}

func TestAJobComesWhenItIsDue(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	due := w.scope.Now.Add(300 * time.Millisecond)
	at := make(chan time.Time, 1)
	w.engage(jobs.Work{Kind: "look", Do: func(_ context.Context, _ pgx.Tx, s lab.Scope, _ json.RawMessage) error {
		at <- s.Now
		return nil
	}})
	// A trial's time may be any; the span to what is due is what counts.
	trial := w.scope
	trial.Now = trial.Now.AddDate(-1, 0, 0)
	if err := w.inTx(func(tx pgx.Tx) error {
		return jobs.At(t.Context(), tx, trial, "look", trial.Now.Add(due.Sub(w.scope.Now)), nil)
	}); err != nil {
		t.Fatal(err)
	}
	if got := <-at; got.Before(due) {
		t.Errorf("done %s before it was due", due.Sub(got))
	}
}

func TestADailyJobIsDoneOnceADayForEveryLab(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	works := []jobs.Work{{Kind: "rename", Daily: true, Do: func(ctx context.Context, tx pgx.Tx, s lab.Scope, _ json.RawMessage) error {
		return rename(ctx, tx, s, "-today")
	}}}
	w.engage(works...)
	w.engage(works...)
	w.until(1, ended)
	w.until(1, `SELECT count(*) FROM river_job WHERE kind = 'every-lab' AND state = 'completed'`)
	if got := w.name(); got != "Basement-today" {
		t.Errorf("the lab's name is %s", got)
	}
}

func TestAnEngineRefusesWorksThatClash(t *testing.T) {
	t.Parallel()
	pool := testdb.New(t)
	do := func(context.Context, pgx.Tx, lab.Scope, json.RawMessage) error { return nil }
	for name, works := range map[string][]jobs.Work{
		"a kind twice":   {{Kind: "a", Do: do}, {Kind: "a", Do: do}},
		"nothing to do":  {{Kind: "a"}},
		"River's limits": {{Kind: "", Do: do}},
	} {
		if _, err := jobs.New(jobs.Config{Pool: pool, Store: database.NewStore(pool, nil), Log: slog.New(slog.DiscardHandler), Workers: 1}, works...); err == nil {
			t.Errorf("%s is taken", name)
		}
	}
}
