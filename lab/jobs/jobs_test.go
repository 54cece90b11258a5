package jobs_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/deploy/testdb"
	"wetside/lab"
	"wetside/lab/database"
	"wetside/lab/jobs"
	"wetside/lab/jobs/jobstest"
)

// workshop is a lab whose jobs change its name.
type workshop struct {
	*jobstest.Bench
	t *testing.T
}

func newWorkshop(t *testing.T) *workshop {
	t.Helper()
	return &workshop{jobstest.New(t), t}
}

// until waits for a count that a query gives.
func (w *workshop) until(want, query string) {
	w.t.Helper()
	w.Until(query+" to give "+want, func() bool { return w.All(query)[0] == want })
}

const ended = `SELECT count(*)::text FROM river_job WHERE kind = 'rename' AND state = 'completed'`

// rename appends to the lab's name, so that work done twice is seen.
func rename(ctx context.Context, tx pgx.Tx, s lab.Scope, suffix string) error {
	_, err := tx.Exec(ctx, `UPDATE labs SET name = name || $2 WHERE id = $1`, s.Lab.ID, suffix)
	return err
}

func (w *workshop) name() string {
	w.t.Helper()
	return w.All(`SELECT name FROM labs`)[0]
}

func TestAJobIsDoneIfItsTransactionCommitted(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.Engage(jobs.Work{Kind: "rename", Do: jobs.Payload(rename)})
	undone := errors.New("undone")
	if err := w.InTx(func(tx pgx.Tx) error {
		return errors.Join(jobs.Soon(t.Context(), tx, "lab_1", "rename", "-rolled-back"), undone)
	}); !errors.Is(err, undone) {
		t.Fatal(err)
	}
	if err := w.InTx(func(tx pgx.Tx) error { return jobs.Soon(t.Context(), tx, "lab_1", "rename", "-done") }); err != nil {
		t.Fatal(err)
	}
	w.until("1", ended)
	if got := w.name(); got != "Basement-done" {
		t.Errorf("the lab's name is %s", got)
	}
}

func TestAJobThatFailsIsTriedAgainAndWritesOnce(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	var tries atomic.Int32
	w.Engage(jobs.Work{Kind: "rename", Pauses: []time.Duration{time.Millisecond, time.Millisecond},
		Do: func(ctx context.Context, tx pgx.Tx, s lab.Scope, _ json.RawMessage) error {
			if err := rename(ctx, tx, s, "-once"); err != nil {
				return err
			}
			if tries.Add(1) < 3 {
				return errors.New("not yet")
			}
			return nil
		}})
	if err := w.InTx(func(tx pgx.Tx) error { return jobs.Soon(t.Context(), tx, "lab_1", "rename", nil) }); err != nil {
		t.Fatal(err)
	}
	w.until("1", ended)
	if got := w.name(); got != "Basement-once" || tries.Load() != 3 {
		t.Errorf("after %d tries the lab's name is %s", tries.Load(), got)
	}
}

// A try that was asked to wait is followed by one that comes no sooner than its
// pause, and no later than the longest of them.
func TestAJobWaitsAsLongAsItWasAsked(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.Engage(jobs.Work{Kind: "asked", Pauses: []time.Duration{10 * time.Minute, time.Hour},
		Do: jobs.Payload(func(_ context.Context, _ pgx.Tx, _ lab.Scope, wait time.Duration) error {
			return fmt.Errorf("over there: %w", &jobs.Later{Err: errors.New("not yet"), Wait: wait})
		})})
	for wait, want := range map[time.Duration]time.Duration{
		-time.Hour: 10 * time.Minute, time.Minute: 10 * time.Minute, 20 * time.Minute: 20 * time.Minute, 100 * time.Hour: time.Hour,
	} {
		w.Must(func(tx pgx.Tx) error { return jobs.Soon(t.Context(), tx, "lab_1", "asked", wait) })
		w.until("1", fmt.Sprintf(`SELECT count(*)::text FROM river_job WHERE kind = 'asked' AND state = 'retryable' AND (args->>'payload')::int8 = %d
			AND scheduled_at - attempted_at BETWEEN interval '%d s' AND interval '%d s'`, wait, int(want.Seconds()), int(1.1*want.Seconds())+2))
	}
}

func TestAJobIsGivenUpWhenRefusedOrTriedOftenEnough(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	var refused, failed atomic.Int32
	w.Engage(
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
	if err := w.InTx(func(tx pgx.Tx) error {
		return errors.Join(jobs.Soon(t.Context(), tx, "lab_1", "refused", nil), jobs.Send(t.Context(), tx, "lab_1", "failing", 1))
	}); err != nil {
		t.Fatal(err)
	}
	w.until("2", `SELECT count(*)::text FROM river_job WHERE state = 'cancelled'`)
	if refused.Load() != 1 || failed.Load() != 2 {
		t.Errorf("refused %d times, failed %d times", refused.Load(), failed.Load())
	}
	w.until("0", `SELECT count(*)::text FROM river_job WHERE errors::text LIKE '%Ann%'`)
}

func TestAJobComesWhenItIsDue(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	due := w.Scope.Now.Add(300 * time.Millisecond)
	at := make(chan time.Time, 1)
	w.Engage(jobs.Work{Kind: "look", Do: func(_ context.Context, _ pgx.Tx, s lab.Scope, _ json.RawMessage) error {
		at <- s.Now
		return nil
	}})
	// A trial's time may be any; the span to what is due is what counts.
	trial := w.Scope
	trial.Now = trial.Now.AddDate(-1, 0, 0)
	if err := w.InTx(func(tx pgx.Tx) error {
		return jobs.At(t.Context(), tx, trial, "look", trial.Now.Add(due.Sub(w.Scope.Now)), nil)
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
	w.Engage(works...)
	w.Engage(works...)
	w.until("1", ended)
	w.until("1", `SELECT count(*)::text FROM river_job WHERE kind = 'every-lab' AND state = 'completed'`)
	if got := w.name(); got != "Basement-today" {
		t.Errorf("the lab's name is %s", got)
	}
}

// A trial's first round is an hour later: others make theirs as soon as they lead.
func TestATrialHasNoRoundAtTheStart(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	work := jobs.Work{Kind: "rename", Daily: true, Do: func(ctx context.Context, tx pgx.Tx, s lab.Scope, _ json.RawMessage) error {
		return rename(ctx, tx, s, "-today")
	}}
	w.EngageForTrial(work)
	w.until("1", `SELECT count(*)::text FROM river_leader`)
	for range 20 {
		if n := w.All(`SELECT count(*)::text FROM river_job WHERE kind = 'every-lab'`)[0]; n != "0" {
			t.Fatalf("%s rounds at the start", n)
		}
		time.Sleep(50 * time.Millisecond)
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
