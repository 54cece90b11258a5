package jobs

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"

	"wetside/lab"
	"wetside/lab/database"
)

// worker does jobs of one kind for River.
type worker struct {
	river.WorkerDefaults[args]
	work  Work
	store Store
	clock func() time.Time
	log   *slog.Logger
}

func add(workers *river.Workers, w Work, cfg Config) (err error) {
	defer func() { // what River throws at kinds that are there twice
		if thrown := recover(); thrown != nil {
			err = fmt.Errorf("jobs: %v", thrown)
		}
	}()
	river.AddWorkerArgs(workers, args{kind: w.Kind},
		&worker{work: w, store: cfg.Store, clock: cfg.Clock, log: cfg.Log})
	return nil
}

// NextRetry is when to try again: after the kind's pause, or what the try was
// asked to wait, and up to a tenth more, so that what failed together is not
// tried together; the zero time leaves it to River.
func (w *worker) NextRetry(job *river.Job[args]) time.Time {
	if len(w.work.Pauses) == 0 {
		return time.Time{}
	}
	pause := w.work.Pauses[min(job.Attempt, len(w.work.Pauses))-1]
	pause = max(pause, min(job.Args.later, slices.Max(w.work.Pauses)))
	return time.Now().Add(pause + rand.N(pause/10+1)) // #nosec G404 -- a pause is no secret
}

// last says whether this try is the last.
func (w *worker) last(job *river.Job[args]) bool {
	return len(w.work.Pauses) > 0 && job.Attempt > len(w.work.Pauses) || job.Attempt >= job.MaxAttempts
}

// Work does one job.
func (w *worker) Work(ctx context.Context, job *river.Job[args]) error {
	err := w.do(ctx, job)
	var no *lab.Refusal
	switch {
	case err == nil:
		return nil
	case errors.As(err, &no):
		// Trying again would be refused again. The refusal's text may name people.
		w.log.Warn("job refused", "kind", job.Kind, "job", job.ID, "code", no.Code)
		return river.JobCancel(errors.New(no.Code))
	case ctx.Err() != nil && context.Cause(ctx) != context.DeadlineExceeded:
		return river.JobSnooze(0) // the server stops: at once, by another
	case w.last(job):
		w.log.Error("job given up", "kind", job.Kind, "job", job.ID, "tries", job.Attempt, "error", err.Error())
		return river.JobCancel(err)
	}
	var later *Later
	if errors.As(err, &later) {
		job.Args.later = later.Wait // the same job is asked for its next try
	}
	w.log.Warn("job failed", "kind", job.Kind, "job", job.ID, "try", job.Attempt, "error", err.Error())
	return err
}

func (w *worker) do(ctx context.Context, job *river.Job[args]) error {
	now := w.clock().UTC().Truncate(time.Microsecond)
	inTx := func(ctx context.Context, f func(pgx.Tx) error) error {
		return w.store.InTx(ctx, database.Writing, job.Args.Lab, f)
	}
	if w.work.Outside != nil {
		return w.work.Outside(ctx, Job{
			LabID: job.Args.Lab, Payload: job.Args.Payload, Now: now, Last: w.last(job), InTx: inTx,
		})
	}
	return inTx(ctx, func(tx pgx.Tx) error {
		mine, err := hold(ctx, tx, job)
		if err != nil || !mine {
			return err
		}
		s := lab.Scope{Now: later(now, job.ScheduledAt)}
		if job.Args.Lab != "" {
			if s.Lab, err = lab.Find(ctx, tx, job.Args.Lab); err != nil {
				return err
			}
		}
		if err := w.work.Do(ctx, tx, s, job.Args.Payload); err != nil {
			return err
		}
		_, err = river.JobCompleteTx[*riverpgxv5.Driver](ctx, tx, job)
		return err
	})
}

// hold locks the job's row. It is not ours any more if another server took it
// for left behind: then there is nothing to do.
func hold(ctx context.Context, tx pgx.Tx, job *river.Job[args]) (mine bool, err error) {
	rows, err := tx.Query(ctx, `SELECT FROM river_job WHERE id = $1 AND state = 'running' AND attempt = $2 FOR UPDATE`,
		job.ID, job.Attempt)
	if err != nil {
		return false, fmt.Errorf("hold job: %w", err)
	}
	mine = rows.Next()
	rows.Close()
	return mine, rows.Err()
}

// later is the later of two instants. Servers' clocks differ a little; no job
// runs at an instant before it was due.
func later(a, b time.Time) time.Time {
	if b = b.UTC().Truncate(time.Microsecond); b.After(a) {
		return b
	}
	return a
}
