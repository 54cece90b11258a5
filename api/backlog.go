package api

import (
	"context"
	"sync"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/prometheus/client_golang/prometheus"

	"wetside/lab/jobs"
)

// How long a count of the jobs that wait is told before it is made anew, since
// anybody may ask for metrics, and how long making it may take.
const (
	backlogAge  = 10 * time.Second
	backlogWait = time.Second
)

// backlog is the metric of jobs that wait. All servers of a database tell the
// same. While the database does not answer, none is told.
type backlog struct {
	pool  *pgxpool.Pool
	clock func() time.Time
	desc  *prometheus.Desc

	mu     sync.Mutex
	at     time.Time // of the last look, whatever came of it
	failed bool
	// jobs are the numbers by kind and state; what was there once stays, at 0.
	jobs map[[2]string]int64
}

func newBacklog(pool *pgxpool.Pool, clock func() time.Time) *backlog {
	return &backlog{pool: pool, clock: clock, jobs: map[[2]string]int64{}, desc: prometheus.NewDesc("wetside_jobs_waiting",
		"Jobs that wait, of all servers: available ones are due, scheduled ones come later, retryable ones failed and are tried again.",
		[]string{"kind", "state"}, nil)}
}

// Describe is the registry's call for what there is to tell.
func (b *backlog) Describe(all chan<- *prometheus.Desc) { all <- b.desc }

// Collect is the registry's call for the numbers.
func (b *backlog) Collect(all chan<- prometheus.Metric) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if age := b.clock().Sub(b.at); age < 0 || age >= backlogAge {
		b.look()
	}
	if b.failed {
		return
	}
	for by, n := range b.jobs {
		all <- prometheus.MustNewConstMetric(b.desc, prometheus.GaugeValue, float64(n), by[0], by[1])
	}
}

// look counts anew.
func (b *backlog) look() {
	ctx, cancel := context.WithTimeout(context.Background(), backlogWait)
	defer cancel()
	found, err := jobs.Backlog(ctx, b.pool)
	b.at, b.failed = b.clock(), err != nil
	if err != nil {
		return
	}
	for by := range b.jobs {
		b.jobs[by] = 0
	}
	for _, w := range found {
		b.jobs[[2]string{w.Kind, w.State}] = w.Jobs
	}
}
