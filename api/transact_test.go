package api_test

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"wetside/api"
	"wetside/api/apitest"
	"wetside/deploy/testdb"
	"wetside/lab"
)

type handle = func(context.Context, pgx.Tx, lab.Scope, api.Request) (api.Answer, error)

// sqlError is what PostgreSQL answers with a SQLSTATE.
func sqlError(state string) error { return &pgconn.PgError{Code: state, Message: "made up"} }

func TestTransactionsBeginAgain(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	var tries, pauses atomic.Int64
	s.API.Impatient(func(int) { pauses.Add(1) })
	failing := func(times int64, state string) handle {
		return func(ctx context.Context, tx pgx.Tx, s lab.Scope, _ api.Request) (api.Answer, error) {
			if _, err := tx.Exec(ctx, `UPDATE labs SET name = name || '!' WHERE id = $1`, s.Lab.ID); err != nil {
				return api.Answer{}, err
			}
			if tries.Add(1) <= times {
				return api.Answer{}, sqlError(state)
			}
			return api.NoContent(), nil
		}
	}
	s.API.AddForTest(
		api.TestOperation{Method: http.MethodPost, Path: "/serialization", Handle: failing(2, "40001")},
		api.TestOperation{Method: http.MethodPost, Path: "/deadlock", Handle: failing(4, "40P01")},
		api.TestOperation{Method: http.MethodPost, Path: "/never", Handle: failing(99, "40P01")},
		api.TestOperation{Method: http.MethodPost, Path: "/unique", Handle: failing(1, "23505")},
	)
	for _, row := range []struct {
		path          string
		status        int
		tries, pauses int64
	}{
		{"/serialization", 204, 3, 2},
		{"/deadlock", 204, 5, 4},
		{"/never", 503, 5, 4},
		{"/unique", 500, 1, 0}, // would only fail again
	} {
		tries.Store(0)
		pauses.Store(0)
		r := keeper.Post(row.path, nil).Want(row.status)
		if tries.Load() != row.tries || pauses.Load() != row.pauses {
			t.Errorf("%s: %d tries, %d pauses", row.path, tries.Load(), pauses.Load())
		}
		if row.status == 503 {
			r.WantProblem(503, "busy")
			if r.Header("Retry-After") == "" {
				t.Error("no Retry-After")
			}
		}
	}
	// What was tried and failed has left nothing: two requests came through.
	if l := apitest.As[lab.Lab](keeper.Get(keeper.Path())); l.Name != "Sallowmere Film Co-op!!" {
		t.Errorf("the lab is called %q", l.Name)
	}
	metrics := string(s.Anyone(t).Get("/metrics").Want(http.StatusOK).Body)
	for _, want := range []string{`wetside_transaction_retries_total{sqlstate="40001"} 2`, `wetside_transaction_retries_total{sqlstate="40P01"} 8`} {
		if !strings.Contains(metrics, want) {
			t.Errorf("metrics lack %s", want)
		}
	}
}

// Requests that took a second connection while they hold one would lock a
// pool of two for ever once two of them run.
func TestASmallPoolServesManyAtOnce(t *testing.T) {
	t.Parallel()
	url := testdb.URL(t)
	pool, err := api.Connect(t.Context(), url, 2, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(pool.Close)
	s := apitest.StartOn(t, pool)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	start := time.Now()
	var wg sync.WaitGroup
	for i := range 20 {
		wg.Go(func() {
			key := string(rune('a' + i))
			body := strings.Replace(cabinet, "By the window", "Cabinet "+key, 1)
			r := keeper.With("Idempotency-Key", key).Do(http.MethodPost, keeper.Path("cabinets"), body)
			if r.Status != http.StatusCreated {
				t.Errorf("answered %d %s", r.Status, r.Body)
			}
		})
	}
	wg.Wait()
	if took := time.Since(start); took > api.AcquireWait {
		t.Errorf("20 requests took %v", took)
	}
}

func TestAFullPoolSaysSo(t *testing.T) {
	t.Parallel()
	url := testdb.URL(t)
	pool, err := api.Connect(t.Context(), url, 2, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(pool.Close)
	s := apitest.StartOn(t, pool)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	for range 2 {
		conn, err := pool.Acquire(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Release()
	}
	r := keeper.Get(keeper.Path())
	r.WantProblem(http.StatusServiceUnavailable, "database-unavailable")
	if r.Header("Retry-After") != "2" {
		t.Errorf("Retry-After is %q", r.Header("Retry-After"))
	}
}

// A caller who goes away must not cost a connection: the rollback still
// reaches the server.
func TestACallerWhoGoesLeavesNothingBehind(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	arrived := make(chan struct{})
	s.API.AddForTest(api.TestOperation{Method: http.MethodPost, Path: "/wait",
		Handle: func(ctx context.Context, tx pgx.Tx, s lab.Scope, _ api.Request) (api.Answer, error) {
			if err := lab.Touch(ctx, tx, s.Lab.ID); err != nil {
				return api.Answer{}, err
			}
			close(arrived)
			<-ctx.Done()
			return api.Answer{}, ctx.Err()
		}})
	before := s.Pool.Stat().NewConnsCount()
	ctx, leave := context.WithCancel(t.Context())
	gone := make(chan error, 1)
	go func() {
		req, _ := http.NewRequestWithContext(ctx, http.MethodPost, s.URL+"/wait", nil)
		req.Header.Set("Authorization", "Bearer "+keeper.Token())
		resp, err := http.DefaultClient.Do(req)
		if err == nil {
			_ = resp.Body.Close()
		}
		gone <- err
	}()
	<-arrived
	leave()
	if err := <-gone; !errors.Is(err, context.Canceled) {
		t.Errorf("the caller got %v", err)
	}
	// The row's lock is free again, and on the connections that were there.
	keeper.Do(http.MethodPost, keeper.Path("cabinets"), cabinet).Want(http.StatusCreated)
	if l := apitest.As[lab.Lab](keeper.Get(keeper.Path())); l.ScheduleVersion != 2 {
		t.Errorf("schedule_version is %d", l.ScheduleVersion)
	}
	if after := s.Pool.Stat().NewConnsCount(); after > before+1 {
		t.Errorf("%d connections were made anew", after-before)
	}
}

// A constraint that is held against at the commit must not pass for success.
func TestACommitThatFailsIsAFailure(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	s.API.AddForTest(api.TestOperation{Method: http.MethodPost, Path: "/abort",
		Handle: func(ctx context.Context, tx pgx.Tx, _ lab.Scope, _ api.Request) (api.Answer, error) {
			_, _ = tx.Exec(ctx, `SELECT 1/0`) // aborts the transaction, unnoticed
			return api.NoContent(), nil
		}})
	p := keeper.Post("/abort", nil).WantProblem(http.StatusInternalServerError, "internal")
	if strings.Contains(p.Detail, "commit") {
		t.Errorf("detail is %q", p.Detail)
	}
}

// The deadline passes while the commit is under way: nobody can say any more
// that nothing was changed.
func TestACommitWithoutAnAnswerPromisesNothing(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	s.API.AddForTest(api.TestOperation{Method: http.MethodPost, Path: "/slow-commit", Within: 700 * time.Millisecond,
		Handle: func(ctx context.Context, tx pgx.Tx, _ lab.Scope, _ api.Request) (api.Answer, error) {
			_, err := tx.Exec(ctx, `
				CREATE TEMPORARY TABLE slow (x int);
				CREATE FUNCTION pg_temp.wait() RETURNS trigger LANGUAGE plpgsql AS 'BEGIN PERFORM pg_sleep(2); RETURN NULL; END';
				CREATE CONSTRAINT TRIGGER waits AFTER INSERT ON slow DEFERRABLE INITIALLY DEFERRED
					FOR EACH ROW EXECUTE FUNCTION pg_temp.wait();
				INSERT INTO slow VALUES (1)`)
			return api.NoContent(), err
		}})
	r := keeper.Post("/slow-commit", nil)
	if p := r.WantProblem(http.StatusServiceUnavailable, "database-unavailable"); strings.Contains(p.Detail, "nothing was changed") || r.Header("Retry-After") == "" {
		t.Errorf("the answer promises %q, Retry-After %q", p.Detail, r.Header("Retry-After"))
	}
}

func TestReadsCannotWrite(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	s.API.AddForTest(api.TestOperation{Method: http.MethodGet, Path: "/write",
		Handle: func(ctx context.Context, tx pgx.Tx, s lab.Scope, _ api.Request) (api.Answer, error) {
			return api.NoContent(), lab.Touch(ctx, tx, s.Lab.ID)
		}})
	keeper.Get("/write").Want(http.StatusInternalServerError)
}

// Planning takes a processor and a connection for seconds: a few at a time, and
// of one lab one.
func TestLongOperationsLeaveRoom(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	places := runtime.GOMAXPROCS(0)
	entered, finish := make(chan struct{}, places), make(chan struct{})
	s.API.AddForTest(api.TestOperation{Method: http.MethodPost, Path: "/long", Within: 20 * time.Second,
		Handle: func(context.Context, pgx.Tx, lab.Scope, api.Request) (api.Answer, error) {
			entered <- struct{}{}
			<-finish
			return api.NoContent(), nil
		}})
	var wg sync.WaitGroup
	for i := range places {
		asker := s.Found(t, fmt.Sprintf("Lab %d", i))
		wg.Go(func() {
			if r := asker.Post("/long", nil); r.Status != http.StatusNoContent {
				t.Errorf("answered %d %s", r.Status, r.Body)
			}
		})
		<-entered
		if i == 0 && places > 1 {
			asker.Post("/long", nil).WantProblem(http.StatusServiceUnavailable, "busy")
		}
	}
	keeper.Post("/long", nil).WantProblem(http.StatusServiceUnavailable, "busy")
	keeper.Get(keeper.Path()).Want(http.StatusOK)
	close(finish)
	wg.Wait()
}
