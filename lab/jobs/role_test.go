package jobs_test

import (
	"context"
	"crypto/rand"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"wetside/lab/jobs"
)

// The engine works too where the server logs in as a role that owns nothing
// and was granted wetside_app.
func TestJobsOfARoleThatOwnsNothing(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	clerk := "wetside_clerk_" + strings.ToLower(rand.Text()[:12])
	for _, sql := range []string{`CREATE ROLE ` + clerk + ` LOGIN PASSWORD 'clerk'`, `GRANT wetside_app TO ` + clerk} {
		if _, err := w.Pool.Exec(t.Context(), sql); err != nil {
			t.Fatal(err)
		}
	}
	t.Cleanup(func() {
		if _, err := w.Pool.Exec(context.Background(), `DROP ROLE `+clerk); err != nil {
			t.Error(err)
		}
	})
	config := w.Pool.Config().Copy()
	config.ConnConfig.User, config.ConnConfig.Password = clerk, "clerk"
	pool, err := pgxpool.NewWithConfig(t.Context(), config)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(pool.Close)
	w.EngageOn(pool, jobs.Work{Kind: "rename", Do: jobs.Payload(rename)})
	// At once, and by way of the scheduler, which the elected leader runs.
	if err := w.InTx(func(tx pgx.Tx) error {
		return jobs.At(t.Context(), tx, w.Scope, "rename", w.Scope.Now.Add(200e6), "-later")
	}); err != nil {
		t.Fatal(err)
	}
	w.until("1", ended)
	w.until("1", `SELECT count(*)::text FROM river_job WHERE kind = 'every-lab' AND state = 'completed'`)
	if got := w.name(); got != "Basement-later" {
		t.Errorf("the lab's name is %s", got)
	}
}
