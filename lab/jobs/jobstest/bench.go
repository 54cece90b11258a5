// Package jobstest is a bench for tests of what jobs do: a lab in a database of
// its own, engines that do its jobs, and ways to wait for what comes of them.
//
//	b := jobstest.New(t)
//	b.Engage(jobs.Work{Kind: "lapse-offer", Do: lapse})
//	b.Must(func(tx pgx.Tx) error { return jobs.Soon(t.Context(), tx, b.Scope.Lab.ID, "lapse-offer", nil) })
//	b.Until("the offer's end", func() bool { return b.All(`SELECT count(*)::text FROM offers`)[0] == "0" })
package jobstest

import (
	"context"
	"log/slog"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"wetside/deploy/testdb"
	"wetside/lab"
	"wetside/lab/database"
	"wetside/lab/jobs"
)

// How long Until waits, and how many jobs an engine does at a time.
const (
	patience = 20 * time.Second
	workers  = 4
)

// A Bench is one lab's jobs under test.
type Bench struct {
	Pool  *pgxpool.Pool
	Store *database.Store
	// Scope is of the lab, and of nobody in it, at the time at which it was made.
	Scope lab.Scope

	t testing.TB
}

// New makes a bench with the lab "lab_1", called Basement.
func New(t testing.TB) *Bench {
	t.Helper()
	pool := testdb.New(t)
	_, err := pool.Exec(t.Context(), `INSERT INTO labs (id, name, time_zone, currency, area_rule, developing_tolerance_permille,
		room_temperature_mc, heater_efficiency_permille, created_at) VALUES ('lab_1', 'Basement', 'Europe/Lisbon', 'EUR', 'trade', 0, 20000, 800, now())`)
	if err != nil {
		t.Fatal(err)
	}
	return On(t, pool, lab.Lab{ID: "lab_1", Name: "Basement", TimeZone: "Europe/Lisbon"})
}

// On is a bench for a lab that is there already.
func On(t testing.TB, pool *pgxpool.Pool, l lab.Lab) *Bench {
	return &Bench{Pool: pool, Store: database.NewStore(pool, nil), t: t,
		Scope: lab.Scope{Lab: l, Now: time.Now().UTC().Truncate(time.Microsecond)}}
}

// Engage starts an engine, which stops when the test ends.
func (b *Bench) Engage(works ...jobs.Work) {
	b.t.Helper()
	b.EngageOn(b.Pool, works...)
}

// EngageOn is Engage for an engine with connections of its own.
func (b *Bench) EngageOn(pool *pgxpool.Pool, works ...jobs.Work) {
	b.t.Helper()
	b.start(jobs.Config{Pool: pool}, works...)
}

// EngageForTrial is Engage for an engine of a trial.
func (b *Bench) EngageForTrial(works ...jobs.Work) {
	b.t.Helper()
	b.start(jobs.Config{Pool: b.Pool, Trial: true}, works...)
}

func (b *Bench) start(cfg jobs.Config, works ...jobs.Work) {
	b.t.Helper()
	cfg.Store, cfg.Log, cfg.Workers = database.NewStore(cfg.Pool, nil), slog.New(slog.DiscardHandler), workers
	e, err := jobs.New(cfg, works...)
	if err != nil {
		b.t.Fatal(err)
	}
	if err := e.Start(b.t.Context()); err != nil {
		b.t.Fatal(err)
	}
	b.t.Cleanup(func() {
		if err := e.Stop(context.Background()); err != nil {
			b.t.Error(err)
		}
	})
}

// InTx runs f in a transaction within the lab.
func (b *Bench) InTx(f func(pgx.Tx) error) error {
	return b.Store.InTx(b.t.Context(), database.Writing, b.Scope.Lab.ID, f)
}

// Must is InTx for what must not fail.
func (b *Bench) Must(f func(pgx.Tx) error) {
	b.t.Helper()
	if err := b.InTx(f); err != nil {
		b.t.Fatal(err)
	}
}

// All are the values of a query of one column of text.
func (b *Bench) All(query string, args ...any) []string {
	b.t.Helper()
	rows, err := b.Pool.Query(b.t.Context(), query, args...)
	if err != nil {
		b.t.Fatal(err)
	}
	found, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		b.t.Fatal(err)
	}
	return found
}

// Until waits for something that jobs are to bring about.
func (b *Bench) Until(what string, f func() bool) {
	b.t.Helper()
	for deadline := time.Now().Add(patience); !f(); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(deadline) {
			b.t.Fatalf("still waiting for %s", what)
		}
	}
}

// Again has jobs that wait for their time, or for their next try, come at once.
func (b *Bench) Again() {
	b.t.Helper()
	b.All(`UPDATE river_job SET state = 'available', scheduled_at = now() WHERE state IN ('retryable', 'scheduled') RETURNING kind`)
}
