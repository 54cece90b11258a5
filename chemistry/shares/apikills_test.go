package shares_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"

	"wetside/api"
	"wetside/api/apitest"
	"wetside/deploy/demo"
	"wetside/deploy/testdb"
	"wetside/scheduling"
)

// The same by HTTP, on the demo's week: 32 clients mix kits, record runs, some
// spoiled, and close kits, each asking again with its Idempotency-Key until it
// has an answer, while backends are terminated, clients hang up and the API is
// stopped and another started in its place.
func TestUnderKillsOfTheAPI(t *testing.T) {
	t.Parallel()
	const clients = 32
	w := newWorkshop(t)
	stop := make(chan struct{})
	var killers, wg sync.WaitGroup
	killers.Go(func() { w.storm.terminate(stop, 40*time.Millisecond) })
	killers.Go(func() { w.restart(stop) })
	for i := range clients {
		wg.Go(func() { w.client(i, rand.New(rand.NewPCG(uint64(i), 11))) })
	}
	wg.Wait()
	close(stop)
	killers.Wait()
	for what, sql := range map[string]string{
		"batches still planned": `SELECT count(*) FROM batches WHERE status = 'planned'`,
		"runs not charged once": `SELECT count(*) FROM runs r WHERE outcome = 'done' AND 1 <> (SELECT count(*) FROM entries e WHERE e.run_id = r.id AND e.kind = 'run_charge')`,
		"spoiled runs charged":  `SELECT count(*) FROM runs r JOIN entries e ON e.run_id = r.id WHERE outcome = 'spoiled'`,
		// The demo's first kit was closed twice before, and the first closing reversed.
		"kits not closed once": `SELECT count(*) FROM kits k WHERE 1 <> (SELECT count(*) FROM entries e WHERE e.kit_id = k.id AND e.kind = 'closing' AND NOT EXISTS (SELECT FROM entries r WHERE r.reverses = e.id))`,
		"entries out":          `SELECT count(*) FROM (SELECT FROM postings GROUP BY lab_id, entry_id HAVING sum(amount_minor) <> 0) x`,
		"kits' accounts":       `SELECT coalesce(sum(abs(n)), 0)::bigint FROM (SELECT sum(amount_minor) n FROM postings WHERE account = 'kit' GROUP BY kit_id) x`,
		"rolls charged twice":  `SELECT count(*) FROM (SELECT FROM postings p JOIN entries e ON e.id = p.entry_id WHERE e.kind = 'run_charge' GROUP BY p.roll_id HAVING p.roll_id IS NOT NULL AND count(*) > 1) x`,
	} {
		var n int64
		if err := w.storm.b.pool.QueryRow(t.Context(), sql).Scan(&n); err != nil || n != 0 {
			t.Errorf("%s: %d, %v", what, n, err)
		}
	}
	t.Logf("%d clients, %d batches, %d kits: %d requests, %d without an answer, %d backends terminated, the API restarted %d times, %d answers replayed",
		clients, len(w.batches), len(w.kits), w.asked.Load(), w.unanswered.Load(), w.storm.killed.Load(), w.restarts.Load(), w.replayed.Load())
	if w.restarts.Load() == 0 || w.storm.killed.Load() == 0 || w.unanswered.Load() == 0 {
		t.Error("the storm was too weak to show anything")
	}
}

// A workshop is the demo's co-op with its week planned, and the clients' way to it.
type workshop struct {
	t       *testing.T
	storm   *storm
	told    *demo.Told
	batches []scheduling.Batch
	kits    []string
	server  atomic.Pointer[httptest.Server]
	over    time.Time // when the week is

	asked, unanswered, restarts, replayed atomic.Int64
}

func newWorkshop(t *testing.T) *workshop {
	t.Helper()
	pool := testdb.New(t)
	w := &workshop{t: t, storm: &storm{b: &books{t: t, pool: pool}}}
	w.server.Store(serve(t, pool))
	t.Cleanup(func() { w.server.Load().Close() })
	now := time.Date(2026, 11, 25, 8, 30, 0, 0, time.UTC)
	told, err := demo.Play(t.Context(), demo.Options{URL: w.server.Load().URL, SetupCode: apitest.SetupCode, Now: now, Iterations: 2000})
	if err != nil {
		t.Fatal(err)
	}
	w.told, w.over = told, told.Monday.AddDate(0, 0, 8)
	var page struct {
		Items []scheduling.Batch `json:"items"`
	}
	w.must("tomasz", "batches?status=planned&limit=200", &page)
	w.batches = page.Items
	var kits struct {
		Items []struct {
			ID       string     `json:"id"`
			ClosedAt *time.Time `json:"closed_at"`
		} `json:"items"`
	}
	w.must("ngozi", "kits?limit=200", &kits)
	for _, k := range kits.Items {
		if k.ClosedAt == nil {
			w.kits = append(w.kits, k.ID)
		}
	}
	if len(w.batches) < 3 || len(w.kits) < 3 {
		t.Fatalf("the demo leaves %d batches and %d kits: too little to try", len(w.batches), len(w.kits))
	}
	return w
}

func (w *workshop) must(who, path string, out any) {
	w.t.Helper()
	status, body := w.ask(w.t.Context(), who, http.MethodGet, path, "", nil, w.over)
	if status != http.StatusOK {
		w.t.Fatalf("%s: answered %d %s", path, status, body)
	}
	if err := json.Unmarshal(body, out); err != nil {
		w.t.Fatal(err)
	}
}

// ask makes one request; the status is 0 where no answer came.
func (w *workshop) ask(ctx context.Context, who, method, path, key string, in any, at time.Time) (int, []byte) {
	w.asked.Add(1)
	body, err := json.Marshal(in)
	if err != nil {
		w.t.Error(err)
	}
	if in == nil {
		body = nil
	}
	req, err := http.NewRequestWithContext(ctx, method, w.server.Load().URL+"/v1/labs/"+w.told.Lab+"/"+path, bytes.NewReader(body))
	if err != nil {
		w.t.Error(err)
		return 0, nil
	}
	req.Header.Set("Authorization", "Bearer "+w.told.Tokens[who])
	req.Header.Set("Trial-Time", at.UTC().Format(time.RFC3339))
	if in != nil {
		req.Header.Set("Content-Type", "application/json")
	}
	if key != "" {
		req.Header.Set("Idempotency-Key", key)
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		w.unanswered.Add(1)
		return 0, nil
	}
	defer func() { _ = resp.Body.Close() }()
	got, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode >= 500 {
		w.unanswered.Add(1)
		return 0, got
	}
	if resp.Header.Get("Idempotency-Replayed") == "true" {
		w.replayed.Add(1)
	}
	return resp.StatusCode, got
}

func (w *workshop) answered() int64 { return w.asked.Load() - w.unanswered.Load() }

// A task is one thing to be asked for, and the problems that say somebody else has done it.
type task struct {
	who, path string
	in        any
	at        time.Time
	done      []string
}

// client does all tasks in an order of its own, each until it is done.
func (w *workshop) client(n int, random *rand.Rand) {
	var tasks []task
	for i, b := range w.batches {
		outcome := "done"
		if i == 0 {
			outcome = "spoiled"
		}
		in := map[string]any{"outcome": outcome, "started_at": b.Wet.UTC(), "ended_at": b.End.UTC()}
		tasks = append(tasks, task{"tomasz", "batches/" + b.ID + "/run", in, b.End.Add(time.Minute), []string{"run-already-recorded"}})
		if b.Mixes {
			tasks = append(tasks, task{"tomasz", "bath-sets", map[string]any{"kit": b.Kit, "mixed_at": b.Start.UTC()}, b.Start, []string{"kit-spent"}})
		}
	}
	for _, kit := range w.kits {
		tasks = append(tasks, task{"ngozi", "kits/" + kit + "/closing", map[string]any{"because": "expired"}, w.over, []string{"kit-closed"}})
	}
	deadline := time.Now().Add(5 * time.Minute)
	for len(tasks) > 0 && !w.t.Failed() {
		if time.Now().After(deadline) {
			w.t.Errorf("client %d did not get done: %d tasks left, first %s", n, len(tasks), tasks[0].path)
			return
		}
		i := random.IntN(len(tasks))
		if w.try(n, i, tasks[i], random) {
			tasks = append(tasks[:i], tasks[i+1:]...)
		}
	}
}

// try asks for a task until an answer comes, with one key, and says whether it is done.
func (w *workshop) try(n, i int, task task, random *rand.Rand) bool {
	key := fmt.Sprintf("client-%d-%d-%d", n, i, random.Int64())
	for range 50 {
		ctx, cancel := w.t.Context(), context.CancelFunc(func() {})
		if random.IntN(4) == 0 {
			ctx, cancel = context.WithTimeout(ctx, time.Duration(random.IntN(40))*time.Millisecond)
		}
		status, body := w.ask(ctx, task.who, http.MethodPost, task.path, key, task.in, task.at)
		cancel()
		if status == 0 {
			time.Sleep(time.Duration(random.IntN(20)) * time.Millisecond)
			continue
		}
		if status < 300 {
			return true
		}
		var problem struct{ Code, Detail string }
		_ = json.Unmarshal(body, &problem)
		for _, code := range append(task.done, "kit-closed") {
			if problem.Code == code {
				return true
			}
		}
		if status != http.StatusConflict {
			w.t.Errorf("%s: answered %d %s", task.path, status, body)
		}
		return false
	}
	return false
}

// restart stops the API and starts another in its place, again and again until
// stop: 400 ms later at the soonest, and not before 32 more requests are
// answered, so that a slow machine gets done.
func (w *workshop) restart(stop <-chan struct{}) {
	const rest, answers = 400 * time.Millisecond, 32
	for {
		for was := w.answered(); ; {
			select {
			case <-stop:
				return
			case <-time.After(rest):
			}
			if w.answered() >= was+answers {
				break
			}
		}
		before := w.server.Swap(serve(w.t, w.storm.b.pool))
		before.CloseClientConnections() // requests under way are broken off
		before.Close()
		w.restarts.Add(1)
	}
}

// serve starts an API on the database.
func serve(t *testing.T, pool *pgxpool.Pool) *httptest.Server {
	config := apitest.Config()
	config.Pool = pool
	a, err := api.New(config)
	if err != nil {
		t.Error(err)
	}
	a.Open()
	return httptest.NewServer(a)
}
