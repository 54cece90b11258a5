package api_test

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"testing"
	"time"

	"wetside/api"
	"wetside/api/apitest"
	"wetside/lab"
)

// standingClock is a clock that only the test moves.
type standingClock struct{ at time.Time }

func (c *standingClock) now() time.Time { return c.at }

func TestMembersAreLimited(t *testing.T) {
	t.Parallel()
	clock := &standingClock{time.Now()}
	s := apitest.Start(t, func(c *api.Config) { c.Clock, c.Limits = clock.now, api.Limits{Member: 6} })
	keeper := s.Found(t, "Sallowmere Film Co-op")
	other := s.Join(t, keeper, "Second member", lab.RoleMember)
	clock.at = clock.at.Add(time.Minute)

	for i := range 6 {
		r := keeper.Get(keeper.Path("tanks")).Want(http.StatusOK)
		want := fmt.Sprintf(`"member";r=%d;t=%d`, 5-i, 10*(i+1))
		if r.Header("RateLimit") != want || r.Header("RateLimit-Policy") != `"member";q=6;w=60` {
			t.Errorf("request %d stands at %s (%s), want %s", i+1, r.Header("RateLimit"), r.Header("RateLimit-Policy"), want)
		}
	}
	r := keeper.Get(keeper.Path("tanks"))
	r.WantProblem(http.StatusTooManyRequests, "too-many-requests")
	if r.Header("Retry-After") != "10" || r.Header("RateLimit") != `"member";r=0;t=10` {
		t.Errorf("refused until %s: %s", r.Header("Retry-After"), r.Header("RateLimit"))
	}
	other.Get(other.Path("tanks")).Want(http.StatusOK) // one member's limit is nobody else's

	clock.at = clock.at.Add(9 * time.Second)
	keeper.Get(keeper.Path("tanks")).WantProblem(http.StatusTooManyRequests, "too-many-requests")
	clock.at = clock.at.Add(time.Second)
	keeper.Get(keeper.Path("tanks")).Want(http.StatusOK)
	clock.at = clock.at.Add(time.Minute)
	if r := keeper.Get(keeper.Path("tanks")).Want(http.StatusOK); r.Header("RateLimit") != `"member";r=5;t=10` {
		t.Errorf("after a minute it stands at %s", r.Header("RateLimit"))
	}
}

func TestAddressesAreLimited(t *testing.T) {
	t.Parallel()
	clock := &standingClock{time.Now()}
	s := apitest.Start(t, func(c *api.Config) {
		c.Clock, c.Limits = clock.now, api.Limits{Address: 12, SignIn: 3}
		c.Proxies = []netip.Prefix{netip.MustParsePrefix("127.0.0.0/8"), netip.MustParsePrefix("::1/128"), netip.MustParsePrefix("10.1.0.0/16")}
	})
	from := func(chain string) *apitest.Client { return s.Anyone(t).With("X-Forwarded-For", chain) }
	guess := map[string]string{"code": "000000-0000000-0000000-000000"}
	const signIn = "too-many-requests"

	for range 3 {
		from("203.0.113.7").Post("/v1/tokens", guess).WantProblem(http.StatusUnauthorized, "unauthenticated")
	}
	from("203.0.113.7").Post("/v1/tokens", guess).WantProblem(http.StatusTooManyRequests, signIn)
	// What the caller writes before the proxies' own word does not change who they are.
	from("198.51.100.1, 203.0.113.7").Post("/v1/tokens", guess).WantProblem(http.StatusTooManyRequests, signIn)
	from("198.51.100.1, 203.0.113.7, 10.1.2.3").Post("/v1/tokens", guess).WantProblem(http.StatusTooManyRequests, signIn)
	from("10.1.2.3, 203.0.113.7").Post("/v1/tokens", guess).WantProblem(http.StatusTooManyRequests, signIn)
	from("203.0.113.8").Post("/v1/tokens", guess).WantProblem(http.StatusUnauthorized, "unauthenticated")

	// One network of IPv6 is one caller, whatever address in it is used.
	for i := range 3 {
		from(fmt.Sprintf("2001:db8:1:2::%d", i)).Post("/v1/tokens", guess).WantProblem(http.StatusUnauthorized, "unauthenticated")
	}
	from("2001:db8:1:2:ffff::9").Post("/v1/tokens", guess).WantProblem(http.StatusTooManyRequests, signIn)
	from("2001:db8:1:3::1").Post("/v1/tokens", guess).WantProblem(http.StatusUnauthorized, "unauthenticated")

	// All that is asked without a token counts for the address.
	last := 0
	for range 20 {
		last = from("203.0.113.9").Get("/v1/labs").Status
	}
	if last != http.StatusTooManyRequests {
		t.Errorf("the twentieth request is answered %d", last)
	}
	from("203.0.113.9").Get("/livez").Want(http.StatusOK) // who looks after the server may always look
}

// Without a proxy, what a request says of its address is not believed.
func TestForwardedForIsNotBelieved(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t, func(c *api.Config) { c.Limits = api.Limits{SignIn: 3} })
	refused := false
	for i := range 8 {
		r := s.Anyone(t).With("X-Forwarded-For", fmt.Sprintf("203.0.113.%d", i)).
			Post("/v1/tokens", map[string]string{"code": "000000-0000000-0000000-000000"})
		refused = refused || r.Status == http.StatusTooManyRequests
	}
	if !refused {
		t.Error("eight guesses from one address, and none is refused")
	}
}

func TestOtherOriginsAreKeptOut(t *testing.T) {
	t.Parallel()
	const ours, others = "https://lab.example.org", "https://elsewhere.example.org"
	ask := func(s *apitest.Server, origin string) string {
		req, err := http.NewRequestWithContext(t.Context(), http.MethodOptions, s.URL+"/v1/labs", nil)
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("Origin", origin)
		req.Header.Set("Access-Control-Request-Method", http.MethodPost)
		resp, err := http.DefaultClient.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		_ = resp.Body.Close()
		return resp.Header.Get("Access-Control-Allow-Origin")
	}
	closed := apitest.Start(t)
	if allowed := ask(closed, ours); allowed != "" {
		t.Errorf("%q is allowed unless told otherwise", allowed)
	}
	open := apitest.Start(t, func(c *api.Config) { c.Origins = []string{ours} })
	if allowed := ask(open, ours); allowed != ours {
		t.Errorf("ours is answered %q", allowed)
	}
	if allowed := ask(open, others); allowed != "" {
		t.Errorf("another origin is allowed: %q", allowed)
	}
	r := open.Anyone(t).With("Origin", ours).Get("/v1/labs")
	if r.Header("Access-Control-Allow-Origin") != ours || r.Header("Access-Control-Allow-Credentials") != "" {
		t.Error("an answer to ours is not readable, or takes the browser's credentials along")
	}
}

func TestAnswersAreGuarded(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	for _, path := range []string{"/v1/labs", "/livez", "/made-up", "/problems/stale"} {
		r := s.Anyone(t).Get(path)
		for _, name := range []string{"X-Content-Type-Options", "Content-Security-Policy", "Cross-Origin-Resource-Policy", "Referrer-Policy", "X-Request-Id"} {
			if r.Header(name) == "" {
				t.Errorf("%s: no %s", path, name)
			}
		}
	}
}

func TestOnePlanAtATime(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	tx, err := s.Pool.Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	// Another server plans for this lab.
	if _, err := tx.Exec(t.Context(), `SELECT pg_advisory_xact_lock(hashtextextended('plan of ' || $1, 0))`, keeper.LabID); err != nil {
		t.Fatal(err)
	}
	plan := func() *apitest.Response {
		return keeper.Post(keeper.Path("plans"), map[string]time.Time{"from": time.Now(), "until": time.Now().Add(24 * time.Hour)})
	}
	plan().WantProblem(http.StatusConflict, "plan-under-way")
	if err := tx.Rollback(t.Context()); err != nil {
		t.Fatal(err)
	}
	plan().Want(http.StatusCreated)
}

// Who sends a request a byte at a time holds a connection, and that not for long.
func TestSlowCallersAreDropped(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	l, err := new(net.ListenConfig).Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	served := make(chan error, 1)
	go func() { served <- s.API.Serve(ctx, l, 0, time.Second) }()
	for name, opening := range map[string]string{
		"header": "GET /livez HTTP/1.1\r\nHost: lab\r\nX-Slow: ",
		"body":   "POST /v1/tokens HTTP/1.1\r\nHost: lab\r\nContent-Type: application/json\r\nContent-Length: 1000\r\n\r\n",
	} {
		conn, err := new(net.Dialer).DialContext(t.Context(), "tcp", l.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		begun := time.Now()
		_, _ = conn.Write([]byte(opening))
		trickle := time.NewTicker(200 * time.Millisecond)
		for time.Since(begun) < time.Minute && err == nil {
			<-trickle.C
			_, err = conn.Write([]byte(" "))
		}
		trickle.Stop()
		_ = conn.Close()
		if err == nil {
			t.Errorf("a %s that takes a minute is waited for", name)
		}
		t.Logf("a slow %s is given up after %.0f s", name, time.Since(begun).Seconds())
	}
	stop()
	if err := <-served; err != nil {
		t.Error(err)
	}
}
