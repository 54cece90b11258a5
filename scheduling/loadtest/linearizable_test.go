package loadtest

import (
	"context"
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/anishathalye/porcupine"
	"github.com/jackc/pgx/v5/pgxpool"

	"wetside/deploy/load/labs"
	"wetside/deploy/testdb"
)

// How much TestLinearizable does: shorter unless WETSIDE_LINEARIZABLE_OPERATIONS
// says how many operations, such as 100000.
const (
	usualOperations = 5_000
	clients         = 32
	team            = 4   // clients of one lab at a time
	labOperations   = 400 // of one lab; then its team gets another
)

// A recorder keeps the history.
type recorder struct {
	start time.Time
	mu    sync.Mutex
	ops   []porcupine.Operation

	left                                          atomic.Int64
	answers, unanswered, again, unknown, replayed atomic.Int64
	codes                                         sync.Map // of answers that say no → *atomic.Int64
}

// TestLinearizable has 32 clients hold, confirm, move, cancel and list bookings at
// random, on three servers that are killed and started again, while connections
// are cut and deadlocks made, each client with a clock that jumps. What they were
// answered is what a small model can have done, one thing after another, each
// between its question and its answer: nothing is booked twice, and nothing that
// was acknowledged is lost.
func TestLinearizable(t *testing.T) {
	r := &recorder{start: time.Now()}
	r.left.Store(usualOperations)
	if given := os.Getenv("WETSIDE_LINEARIZABLE_OPERATIONS"); given != "" {
		n, err := strconv.ParseInt(given, 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		r.left.Store(n)
	}
	database := testdb.URL(t)
	pool, err := pgxpool.New(t.Context(), named(t, database))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(pool.Close)
	s := startServers(t, 3, database)
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	var weather, teams sync.WaitGroup
	weather.Go(func() { s.storm(ctx, database, rand.New(rand.NewPCG(1, 1))) })
	weather.Go(func() { s.tangle(ctx, database, rand.New(rand.NewPCG(2, 2))) })
	for n := range clients / team {
		teams.Go(func() { r.play(t, s, pool, n) })
	}
	teams.Wait()
	took := time.Since(r.start)
	stop()
	weather.Wait()

	t.Logf("%d operations by %d clients in %s, %.0f/s: %d answers, %d times none, %d asked again, %d replayed, %d outcomes unknown",
		len(r.ops), clients, took.Round(time.Second), float64(len(r.ops))/took.Seconds(), r.answers.Load(), r.unanswered.Load(), r.again.Load(), r.replayed.Load(), r.unknown.Load())
	t.Logf("%d servers killed, %d connections cut, %d transactions ended by a deadlock", s.killed.Load(), s.terminated.Load(), deadlocks(t, pool))
	r.codes.Range(func(code, n any) bool {
		t.Logf("%8d × %s", n.(*atomic.Int64).Load(), code)
		return true
	})
	if s.killed.Load() == 0 || s.terminated.Load() == 0 {
		t.Error("the storm was too weak to show anything")
	}
	began := time.Now()
	result, info := porcupine.CheckOperationsVerbose(model(), r.ops, 10*time.Minute)
	t.Logf("porcupine: %s, after %s", result, time.Since(began).Round(time.Millisecond))
	if result != porcupine.Ok {
		path := filepath.Join(os.TempDir(), "wetside-linearizable.html")
		t.Errorf("the history is not linearizable (%v); see %s", porcupine.VisualizePath(model(), info, path), path)
	}
	r.settle(t, pool)
}

// named is a database's address for connections of the test itself.
func named(t *testing.T, database string) string {
	t.Helper()
	u, err := url.Parse(database)
	if err != nil {
		t.Fatal(err)
	}
	q := u.Query()
	q.Set("application_name", ours)
	u.RawQuery = q.Encode()
	return u.String()
}

// deadlocks is how many transactions PostgreSQL ended in the database.
func deadlocks(t *testing.T, pool *pgxpool.Pool) (n int64) {
	t.Helper()
	if err := pool.QueryRow(t.Context(), `SELECT deadlocks FROM pg_stat_database WHERE datname = current_database()`).Scan(&n); err != nil {
		t.Error(err)
	}
	return n
}

// settle looks into the database for what no history may leave there.
func (r *recorder) settle(t *testing.T, pool *pgxpool.Pool) {
	t.Helper()
	for what, sql := range map[string]string{
		"sessions with more rolls than places": fmt.Sprintf(`SELECT count(*) FROM (SELECT FROM bookings b
			JOIN booking_rolls k ON k.lab_id = b.lab_id AND k.booking_id = b.id AND k.live
			GROUP BY b.session_id HAVING count(*) > %d) x`, labs.Places),
		"rolls with two places":  `SELECT count(*) FROM (SELECT FROM booking_rolls WHERE live GROUP BY roll_id HAVING count(*) > 1) x`,
		"bookings without rolls": `SELECT count(*) FROM bookings b WHERE NOT EXISTS (SELECT FROM booking_rolls k WHERE k.booking_id = b.id)`,
		"places of what has ended": `SELECT count(*) FROM bookings b JOIN booking_rolls k ON k.booking_id = b.id AND k.live
			WHERE b.cancelled_at IS NOT NULL OR b.lapsed_at IS NOT NULL`,
	} {
		var n int64
		if err := pool.QueryRow(t.Context(), sql).Scan(&n); err != nil || n != 0 {
			t.Errorf("%s: %d, %v", what, n, err)
		}
	}
}

// play has a team of clients use one lab after another until enough is done.
func (r *recorder) play(t *testing.T, s *servers, pool *pgxpool.Pool, n int) {
	for !t.Failed() {
		mine := min(labOperations, r.left.Add(-labOperations)+labOperations)
		if mine <= 0 {
			return
		}
		web := &http.Client{Transport: transport(team), Timeout: 20 * time.Second}
		g := &game{r: r, s: s, l: newLab(t, pool, 4, 2, 5), web: web, known: map[string]string{}}
		for _, p := range append([]*labs.Person{g.l.Steward}, g.l.Members...) {
			g.signIn(t, pool, p)
		}
		var wg sync.WaitGroup
		g.left.Store(mine)
		for i := range team {
			id := n*team + i
			wg.Go(func() { g.client(t, id, rand.New(rand.NewPCG(uint64(id), uint64(max(r.left.Load(), 0))))) })
		}
		wg.Wait()
		web.CloseIdleConnections()
	}
}
