package api_test

import (
	"bytes"
	"context"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/api"
	"wetside/api/apitest"
	"wetside/lab"
)

func TestServicePages(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	anyone := s.Anyone(t)
	anyone.Get("/livez").Want(http.StatusOK)
	anyone.Get("/readyz").Want(http.StatusOK)
	if got := anyone.Get("/openapi.yaml").Want(http.StatusOK); !bytes.HasPrefix(got.Body, []byte("openapi: 3.1")) {
		t.Errorf("the contract begins %.40q", got.Body)
	}
	page := anyone.Get("/").Want(http.StatusOK)
	if !strings.Contains(page.Header("Content-Security-Policy"), "default-src 'none'") || page.Header("X-Content-Type-Options") != "nosniff" {
		t.Error("the page lets too much in")
	}
	problem := anyone.Get("/problems/stale").Want(http.StatusOK)
	if !strings.HasPrefix(problem.Header("Content-Type"), "text/html") || !bytes.Contains(problem.Body, []byte("It has changed since you read it")) {
		t.Errorf("%s: %s", problem.Header("Content-Type"), problem.Body)
	}
	var short struct {
		Code, Title, Explanation string
		Status                   int
	}
	anyone.With("Accept", "application/json").Get("/problems/stale").Want(http.StatusOK).Into(&short)
	if short.Status != http.StatusPreconditionFailed || short.Explanation == "" {
		t.Errorf("the problem is %+v", short)
	}
	anyone.Get("/problems/none-such").WantProblem(http.StatusNotFound, "not-found")

	keeper := s.Found(t, "Sallowmere Film Co-op")
	if got := keeper.Get(keeper.Path()).Header("Cache-Control"); got != "no-store" {
		t.Errorf("Cache-Control is %q", got)
	}
	s.API.Drain()
	r := anyone.Get("/readyz")
	if p := r.WantProblem(http.StatusServiceUnavailable, "not-ready"); p.Errors[0].Code != "stopping" {
		t.Errorf("not ready for %+v", p.Errors)
	}
	keeper.Get(keeper.Path()).Want(http.StatusOK)
}

func TestMetricsGoByRouteTemplates(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	keeper.Get(keeper.Path("tanks")).Want(http.StatusOK)
	keeper.Get("/made-up").Want(http.StatusNotFound)
	keeper.Do("BREW", "/made-up", nil).Want(http.StatusNotFound)
	got := string(s.Anyone(t).Get("/metrics").Want(http.StatusOK).Body)
	for _, want := range []string{
		`http_server_request_duration_seconds_count{method="GET",route="/v1/labs/:lab/tanks",status="200"} 1`,
		`http_server_request_duration_seconds_count{method="GET",route="none",status="404"} 1`,
		`http_server_request_duration_seconds_count{method="other",route="none",status="404"} 1`,
		`wetside_pool_max_connections 8`,
	} {
		if !strings.Contains(got, want) {
			t.Errorf("metrics lack %s", want)
		}
	}
	if strings.Contains(got, keeper.LabID) || strings.Contains(got, "made-up") {
		t.Error("a path is in the metrics")
	}
}

func TestRequestIds(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	anyone := s.Anyone(t)
	if got := anyone.With("X-Request-Id", "abc-1.2_3").Get("/livez").Header("X-Request-Id"); got != "abc-1.2_3" {
		t.Errorf("id is %q", got)
	}
	for _, bad := range []string{"", "a b", strings.Repeat("a", 65), `x"y`} {
		r := anyone.With("X-Request-Id", bad).Get("/nowhere")
		p := r.WantProblem(http.StatusNotFound, "not-found")
		if got := r.Header("X-Request-Id"); len(got) != 36 || p.Instance != "urn:uuid:"+got || p.Type != "/problems/not-found" || p.Title == "" {
			t.Errorf("%q: id %q, problem %+v", bad, got, p)
		}
	}
}

func TestFaultsOfOursStayInside(t *testing.T) {
	t.Parallel()
	var log apitest.Log
	s := apitest.Start(t, log.Into)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	s.API.AddForTest(
		api.TestOperation{Method: http.MethodPost, Path: "/panic",
			Handle: func(context.Context, pgx.Tx, lab.Scope, api.Request) (api.Answer, error) { panic("boiled over") }},
		api.TestOperation{Method: http.MethodPost, Path: "/sql",
			Handle: func(ctx context.Context, tx pgx.Tx, _ lab.Scope, _ api.Request) (api.Answer, error) {
				_, err := tx.Exec(ctx, `SELECT secret FROM nowhere`)
				return api.Answer{}, err
			}},
	)
	for _, path := range []string{"/panic", "/sql"} {
		r := keeper.Post(path, nil)
		p := r.WantProblem(http.StatusInternalServerError, "internal")
		for _, leak := range []string{"boiled", "goroutine", "SELECT", "nowhere", "SQLSTATE", ".go"} {
			if bytes.Contains(r.Body, []byte(leak)) {
				t.Errorf("%s: the answer holds %q", path, leak)
			}
		}
		if !strings.Contains(log.String(), strings.TrimPrefix(p.Instance, "urn:uuid:")) {
			t.Errorf("%s: %s is not in the log", path, p.Instance)
		}
	}
	keeper.Get(keeper.Path()).Want(http.StatusOK) // the connection of the panic is given back
}

func TestLogsHoldNoSecretsAndNoNames(t *testing.T) {
	t.Parallel()
	var log apitest.Log
	s := apitest.Start(t, log.Into)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	member := s.Join(t, keeper, "Bram Quillon")
	member.Get(keeper.Path("members")).Want(http.StatusForbidden)
	keeper.Do(http.MethodPost, keeper.Path("cabinets"), `{"name":"Quillon's"}`).Want(http.StatusBadRequest)
	keeper.Get("/nowhere").Want(http.StatusNotFound)
	keeper.Do(http.MethodPut, keeper.Path(), nil).Want(http.StatusMethodNotAllowed)
	text := log.String()
	if strings.Contains(text, `"level":"ERROR"`) {
		t.Errorf("callers' mistakes are logged as ours:\n%s", text)
	}
	for _, secret := range []string{keeper.Token(), member.Token(), apitest.SetupCode, "Quillon", "Tarrow", "Sallowmere", keeper.LabID} {
		if strings.Contains(text, secret) {
			t.Errorf("the log holds %q", secret)
		}
	}
	if !strings.Contains(text, `"route":"/v1/labs/:lab/members"`) || !strings.Contains(text, `"code":"forbidden"`) {
		t.Errorf("the log lacks routes or codes:\n%s", text)
	}
}

func TestStoppingLetsRequestsFinish(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	arrived, finish := make(chan struct{}), make(chan struct{})
	s.API.AddForTest(api.TestOperation{Method: http.MethodPost, Path: "/slow",
		Handle: func(ctx context.Context, tx pgx.Tx, s lab.Scope, _ api.Request) (api.Answer, error) {
			close(arrived)
			<-finish
			return api.NoContent(), lab.Touch(ctx, tx, s.Lab.ID)
		}})
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	stopped := make(chan error, 1)
	go func() { stopped <- s.API.Serve(ctx, l, 0, 10*time.Second) }()
	answered := make(chan int, 1)
	go func() {
		req, _ := http.NewRequestWithContext(t.Context(), http.MethodPost, "http://"+l.Addr().String()+"/slow", nil)
		req.Header.Set("Authorization", "Bearer "+keeper.Token())
		resp, err := http.DefaultClient.Do(req)
		if err != nil {
			t.Error(err)
			answered <- 0
			return
		}
		_ = resp.Body.Close()
		answered <- resp.StatusCode
	}()
	<-arrived
	stop()
	// No more are let in, while the one under way goes on.
	for deadline := time.Now().Add(5 * time.Second); ; {
		conn, err := net.Dial("tcp", l.Addr().String())
		if err != nil {
			break
		}
		_ = conn.Close()
		if time.Now().After(deadline) {
			t.Fatal("the server still listens")
		}
	}
	select {
	case err := <-stopped:
		t.Fatalf("the server has stopped before its request: %v", err)
	default:
	}
	close(finish)
	if status := <-answered; status != http.StatusNoContent {
		t.Errorf("the request under way was answered %d", status)
	}
	if err := <-stopped; err != nil {
		t.Error(err)
	}
}
