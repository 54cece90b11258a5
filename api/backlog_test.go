package api_test

import (
	"net/http"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"

	"wetside/api"
	"wetside/api/apitest"
	"wetside/deploy/testdb"
	"wetside/lab"
	"wetside/lab/jobs"
)

// waiting are the lines of the metric of jobs that wait.
func waiting(t *testing.T, s *apitest.Server) (lines []string) {
	t.Helper()
	for line := range strings.Lines(string(s.Anyone(t).Get("/metrics").Want(http.StatusOK).Body)) {
		if strings.HasPrefix(line, "wetside_jobs_waiting{") {
			lines = append(lines, strings.TrimSpace(line))
		}
	}
	return lines
}

func TestMetricsTellOfJobsThatWait(t *testing.T) {
	t.Parallel()
	var later atomic.Int64
	now := time.Now()
	s := apitest.Start(t, func(c *api.Config) {
		c.Clock = func() time.Time { return now.Add(time.Duration(later.Load())) }
	})
	err := pgx.BeginFunc(t.Context(), s.Pool, func(tx pgx.Tx) error {
		for range 3 {
			if err := jobs.Soon(t.Context(), tx, "lab_1", "look", nil); err != nil {
				return err
			}
		}
		if err := jobs.Send(t.Context(), tx, "lab_1", "call", 1, 2); err != nil {
			return err
		}
		return jobs.At(t.Context(), tx, lab.Scope{Lab: lab.Lab{ID: "lab_1"}, Now: now}, "look", now.Add(time.Hour), nil)
	})
	if err != nil {
		t.Fatal(err)
	}
	change := func(sql string) {
		t.Helper()
		if _, err := s.Pool.Exec(t.Context(), sql); err != nil {
			t.Fatal(err)
		}
	}
	change(`UPDATE river_job SET state = 'running', attempted_at = now() WHERE id = (SELECT min(id) FROM river_job WHERE kind = 'look')`)
	change(`UPDATE river_job SET state = 'retryable' WHERE id = (SELECT min(id) FROM river_job WHERE kind = 'call')`)
	want := []string{
		`wetside_jobs_waiting{kind="call",state="available"} 1`,
		`wetside_jobs_waiting{kind="call",state="retryable"} 1`,
		`wetside_jobs_waiting{kind="look",state="available"} 2`,
		`wetside_jobs_waiting{kind="look",state="scheduled"} 1`,
	}
	if diff := cmp.Diff(want, waiting(t, s)); diff != "" {
		t.Errorf("what waits (want -, got +):\n%s", diff)
	}
	// It is counted every ten seconds at most, and what has gone is told of as none.
	change(`DELETE FROM river_job WHERE kind = 'look'`)
	if diff := cmp.Diff(want, waiting(t, s)); diff != "" {
		t.Errorf("at once (want -, got +):\n%s", diff)
	}
	later.Store(int64(10 * time.Second))
	want[2], want[3] = `wetside_jobs_waiting{kind="look",state="available"} 0`, `wetside_jobs_waiting{kind="look",state="scheduled"} 0`
	if diff := cmp.Diff(want, waiting(t, s)); diff != "" {
		t.Errorf("ten seconds later (want -, got +):\n%s", diff)
	}
}

// What the database does not say is not told, and holds no other metric up.
func TestMetricsWithoutADatabase(t *testing.T) {
	t.Parallel()
	pool, err := api.Connect(t.Context(), testdb.URL(t), 2, 0)
	if err != nil {
		t.Fatal(err)
	}
	s := apitest.StartOn(t, pool)
	err = pgx.BeginFunc(t.Context(), pool, func(tx pgx.Tx) error { return jobs.Soon(t.Context(), tx, "lab_1", "look", nil) })
	if err != nil {
		t.Fatal(err)
	}
	pool.Close()
	if got := waiting(t, s); got != nil {
		t.Errorf("told %q", got)
	}
	if got := string(s.Anyone(t).Get("/metrics").Want(http.StatusOK).Body); !strings.Contains(got, "wetside_pool_max_connections 2") {
		t.Error("no other metrics are told")
	}
}
