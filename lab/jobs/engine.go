package jobs

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
)

// How long things take. A job that a killed server left running is taken up by
// another after rescueAfter, which must be longer than any job may run.
const (
	day          = 24 * time.Hour
	jobTime      = 30 * time.Second
	rescueAfter  = time.Minute
	keepDone     = 2 * day // longer than a day: daily jobs are told by their predecessors
	firstRestart = time.Second
	lastRestart  = 30 * time.Second
	cancelTime   = 5 * time.Second
	fetchPause   = 20 * time.Millisecond // between two looks for jobs; each takes as many as there are workers free
)

// outsideFactor is how many jobs wait for others' servers at a time, for each
// worker. They hold no connection of the database while they do.
const outsideFactor = 4

// Spare is how many connections an engine needs beside one for each worker: for
// fetching jobs, marking them done and looking after them. It takes one more,
// outside the pool, on which it listens.
const Spare = 3

// Store runs functions in transactions within a lab.
type Store interface {
	InTx(ctx context.Context, opts pgx.TxOptions, labID string, f func(pgx.Tx) error) error
}

// Config is what an Engine is made of.
type Config struct {
	// Pool is the engine's alone: Workers + Spare connections.
	Pool *pgxpool.Pool
	// Store runs what jobs do; it is on the same pool.
	Store Store
	Log   *slog.Logger
	// Clock is time.Now when nil.
	Clock func() time.Time
	// Workers is how many of the lab's own jobs run at a time; four times as many
	// wait for others' servers.
	Workers int
	// Trial has the first round of the daily jobs an hour after the start, not at it:
	// requests of a trial set their own time, and a round by the server's would end
	// what is offered or held in between.
	Trial bool
}

// An Engine does jobs. Several servers' engines share the work.
type Engine struct {
	client  *river.Client[pgx.Tx]
	log     *slog.Logger
	started bool
}

// New makes an engine for the given kinds of jobs. It fails on kinds that are
// there twice, or have nothing to do.
func New(cfg Config, works ...Work) (*Engine, error) {
	if cfg.Clock == nil {
		cfg.Clock = time.Now
	}
	works = append(works, everyLab(works))
	workers := river.NewWorkers()
	for _, w := range works {
		if (w.Do == nil) == (w.Outside == nil) {
			return nil, fmt.Errorf("jobs: %s must have one thing to do", w.Kind)
		}
		if err := add(workers, w, cfg); err != nil {
			return nil, err
		}
	}
	client, err := river.NewClient(riverpgxv5.New(cfg.Pool), &river.Config{
		Logger: slog.New(warnings{cfg.Log.Handler()}),
		Queues: map[string]river.QueueConfig{
			queueInside:  {MaxWorkers: cfg.Workers},
			queueOutside: {MaxWorkers: outsideFactor * cfg.Workers},
		},
		FetchCooldown:               fetchPause,
		Workers:                     workers,
		PeriodicJobs:                []*river.PeriodicJob{daily(!cfg.Trial)},
		FetchOnlyKnownKinds:         true, // a newer server's kinds are left to it
		JobTimeout:                  jobTime,
		RescueStuckJobsAfter:        rescueAfter,
		CompletedJobRetentionPeriod: keepDone,
		ReindexerIndexNames:         []string{}, // that would take the tables' owner
	})
	if err != nil {
		return nil, fmt.Errorf("jobs: %w", err)
	}
	return &Engine{client: client, log: cfg.Log}, nil
}

// Start begins to do jobs; the database must have the tables. While it cannot be
// reached it tries again until ctx is done, and then returns nil, not started.
// Once started, only Stop stops it.
func (e *Engine) Start(ctx context.Context) error {
	for wait := firstRestart; ; wait = min(2*wait, lastRestart) {
		err := e.client.Start(context.WithoutCancel(ctx))
		if err == nil {
			e.started = true
			e.log.Info("jobs are done from now on")
			return nil
		}
		if ctx.Err() != nil {
			return nil
		}
		e.log.Warn("jobs cannot be started; trying again", "in", wait.String(), "error", err.Error())
		select {
		case <-time.After(wait):
		case <-ctx.Done():
			return nil
		}
	}
}

// Stop takes no more jobs and lets those under way finish until ctx is done,
// when they are broken off, to be done again later. It must not run beside Start.
func (e *Engine) Stop(ctx context.Context) error {
	if !e.started {
		return nil
	}
	err := e.client.Stop(ctx)
	if err == nil {
		e.log.Info("jobs under way are finished")
		return nil
	}
	last, cancel := context.WithTimeout(context.WithoutCancel(ctx), cancelTime)
	defer cancel()
	return errors.Join(fmt.Errorf("jobs were cut off: %w", err), e.client.StopAndCancel(last))
}
