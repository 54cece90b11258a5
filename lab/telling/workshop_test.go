package telling_test

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
	"wetside/lab/telling"
)

// workshop is a lab with members: ann keeps it, bea and cal are stewards, cal
// has left, dov is a guest of bea's.
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
	_, err := w.pool.Exec(t.Context(), `
		INSERT INTO labs (id, name, time_zone, currency, area_rule, developing_tolerance_permille, room_temperature_mc, heater_efficiency_permille, created_at)
		VALUES ('lab_1', 'Basement', 'Europe/Lisbon', 'EUR', 'trade', 0, 20000, 800, now());
		INSERT INTO members (lab_id, id, name, roles, joined_at, left_at, guest_of) VALUES
			('lab_1', 'ann', 'Ann', '{member,keeper}', now(), NULL, NULL),
			('lab_1', 'bea', 'Bea', '{member,steward}', now(), NULL, NULL),
			('lab_1', 'cal', 'Cal', '{member,steward}', now(), now(), NULL),
			('lab_1', 'dov', 'Dov', '{member}', now(), NULL, 'bea')`)
	if err != nil {
		t.Fatal(err)
	}
	w.scope = lab.Scope{Lab: lab.Lab{ID: "lab_1", Name: "Basement", TimeZone: "Europe/Lisbon"}, Now: time.Now().UTC().Truncate(time.Microsecond)}
	return w
}

// engage starts an engine for what is told, which stops when the test ends.
func (w *workshop) engage(cfg telling.Config) {
	w.t.Helper()
	e, err := jobs.New(jobs.Config{Pool: w.pool, Store: w.store, Log: slog.New(slog.DiscardHandler), Workers: 4}, telling.Works(cfg)...)
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

func (w *workshop) must(f func(pgx.Tx) error) {
	w.t.Helper()
	if err := w.inTx(f); err != nil {
		w.t.Fatal(err)
	}
}

// all are the values of a query of one column.
func (w *workshop) all(query string, args ...any) []string {
	w.t.Helper()
	rows, err := w.pool.Query(w.t.Context(), query, args...)
	if err != nil {
		w.t.Fatal(err)
	}
	found, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		w.t.Fatal(err)
	}
	return found
}

func (w *workshop) until(what string, f func() bool) {
	w.t.Helper()
	for deadline := time.Now().Add(20 * time.Second); !f(); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(deadline) {
			w.t.Fatalf("still waiting for %s", what)
		}
	}
}
