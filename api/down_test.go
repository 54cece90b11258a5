package api_test

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"wetside/api"
	"wetside/api/apitest"
	"wetside/deploy/testdb"
)

// The server starts without its database, says so, works once it is there,
// says so again when it goes, and comes back by itself.
func TestTheDatabaseComesAndGoes(t *testing.T) {
	t.Parallel()
	db := testdb.Server(t)
	db.Stop()
	pool, err := api.Connect(t.Context(), db.URL(), 4, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(pool.Close)
	var log apitest.Log
	cfg := apitest.Config()
	cfg.Pool = pool
	log.Into(&cfg)
	a, err := api.New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	s := apitest.Serve(t, a, pool)
	migrated := make(chan error, 1)
	go func() { migrated <- a.Migrate(t.Context()) }()

	anyone := s.Anyone(t)
	down := func(what string, r *apitest.Response) {
		t.Helper()
		r.WantProblem(http.StatusServiceUnavailable, "database-unavailable")
		if r.Header("Retry-After") != "2" {
			t.Errorf("%s: Retry-After is %q", what, r.Header("Retry-After"))
		}
	}
	anyone.Get("/livez").Want(http.StatusOK)
	anyone.Get("/readyz").WantProblem(http.StatusServiceUnavailable, "not-ready")
	down("before", anyone.Post("/v1/tokens", map[string]string{"code": apitest.SetupCode}))
	within(t, "a line about the database", func() bool { return strings.Contains(log.String(), "cannot be reached; trying again") })

	db.Start()
	if err := <-migrated; err != nil {
		t.Fatal(err)
	}
	anyone.Get("/readyz").Want(http.StatusOK)
	keeper := s.Found(t, "Sallowmere Film Co-op")

	db.Stop()
	down("read", keeper.Get(keeper.Path()))
	down("write", keeper.With("Idempotency-Key", "k").Do(http.MethodPost, keeper.Path("cabinets"), cabinet))
	anyone.Get("/readyz").WantProblem(http.StatusServiceUnavailable, "not-ready")
	anyone.Get("/livez").Want(http.StatusOK)

	db.Start()
	keeper.With("Idempotency-Key", "k").Do(http.MethodPost, keeper.Path("cabinets"), cabinet).Want(http.StatusCreated)
	anyone.Get("/readyz").Want(http.StatusOK)

	// A restart between two requests leaves dead connections in the pool, of
	// which the next requests must not notice anything.
	db.Stop()
	db.Start()
	for range 6 {
		keeper.Get(keeper.Path()).Want(http.StatusOK)
	}
	if text := log.String(); strings.Contains(text, "postgres://") || strings.Contains(text, "password=") {
		t.Error("the database's address is in the log")
	}
}

// within polls until f holds, for at most ten seconds.
func within(t *testing.T, what string, f func() bool) {
	t.Helper()
	for deadline := time.Now().Add(time.Minute); !f(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("still waiting for %s", what)
		}
	}
}
