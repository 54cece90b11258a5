package loadtest

import (
	"fmt"
	"io"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"wetside/api/apitest"
	"wetside/deploy/load/labs"
)

// TestLastPlace has 500 clients ask at once for the last place of a session: one
// gets it, and all others are told that there is none. Where a slow machine
// turns some away for now (503 with Retry-After), they come again as told.
func TestLastPlace(t *testing.T) {
	const clients = 500
	s := apitest.Start(t)
	l := newLab(t, s.Pool, 3, clients+1, 1)
	web := &http.Client{Transport: transport(clients)}
	signIn(t, web, s.URL, l)
	session := l.Sessions[0]
	var turnedAway atomic.Int64
	book := func(p *labs.Person, key string) (status int, header http.Header, body []byte) {
		for range 10 {
			status, header, body = send(t.Context(), web, s.URL, l.ID, p.Token, asked{method: http.MethodPost, path: "/bookings", at: today, key: key,
				body: map[string]any{"session": session, "rolls": p.Rolls}})
			wait, err := strconv.Atoi(header.Get("Retry-After"))
			if status != http.StatusServiceUnavailable || err != nil {
				break
			}
			turnedAway.Add(1)
			time.Sleep(time.Duration(wait) * time.Second)
		}
		return status, header, body
	}
	if status, _, body := book(l.Members[clients], `"first"`); status != http.StatusCreated {
		t.Fatalf("the first place: answered %d %s", status, body)
	}
	outcomes, took, all := rush(clients, func(i int) string {
		status, _, body := book(l.Members[i], fmt.Sprintf("%q", strconv.Itoa(i)))
		return fmt.Sprintf("%d %s", status, codeOf(body))
	})
	t.Logf("%d clients for the last place: %v in %s, %d times turned away for now; an answer took %s at the median, %s at the most",
		clients, outcomes, all.Round(time.Millisecond), turnedAway.Load(), took[clients/2].Round(time.Millisecond), took[clients-1].Round(time.Millisecond))
	if outcomes["201 "] != 1 || outcomes["409 does-not-fit"] != clients-1 {
		t.Errorf("outcomes %v, want one 201 and %d times 409 does-not-fit", outcomes, clients-1)
	}
	var rolls int
	err := s.Pool.QueryRow(t.Context(), `SELECT count(*) FROM bookings b JOIN booking_rolls k ON k.booking_id = b.id AND k.live
		WHERE b.session_id = $1`, session).Scan(&rolls)
	if err != nil || rolls != labs.Places {
		t.Errorf("%d rolls are booked in the session, %v, want %d", rolls, err, labs.Places)
	}
	session = l.Sessions[1]
	again := l.Members[slices.IndexFunc(l.Members, func(p *labs.Person) bool { return free(t, web, s.URL, l, p) })]
	outcomes, _, _ = rush(10, func(int) string {
		status, header, body := book(again, `"once"`)
		return fmt.Sprintf("%d %s%s", status, header.Get("Location"), codeOf(body))
	})
	for outcome, n := range outcomes {
		if n != 10 || !strings.HasPrefix(outcome, "201 /v1/") {
			t.Errorf("with one Idempotency-Key ten times: %v, want one booking", outcomes)
		}
	}
	t.Logf("with one Idempotency-Key ten times: %v", outcomes)
	t.Logf("transactions begun again: %s", metric(t, web, s.URL, "wetside_transaction_retries_total"))
}

// free says whether a member's roll has no place.
func free(t *testing.T, web *http.Client, url string, l *labs.Lab, p *labs.Person) bool {
	_, _, body := send(t.Context(), web, url, l.ID, p.Token, asked{method: http.MethodGet, path: "/rolls/" + p.Rolls[0], at: today})
	return strings.Contains(string(body), `"on_shelf"`)
}

// rush has n clients act at once. It counts what came of it and says how long
// each waited, sorted, and all together.
func rush(n int, act func(i int) string) (outcomes map[string]int, took []time.Duration, all time.Duration) {
	outcomes, took = map[string]int{}, make([]time.Duration, n)
	var mu sync.Mutex
	var ready, done sync.WaitGroup
	begin := make(chan struct{})
	ready.Add(n)
	for i := range n {
		done.Go(func() {
			ready.Done()
			<-begin
			start := time.Now()
			outcome := act(i)
			took[i] = time.Since(start)
			mu.Lock()
			defer mu.Unlock()
			outcomes[outcome]++
		})
	}
	ready.Wait()
	start := time.Now()
	close(begin)
	done.Wait()
	slices.Sort(took)
	return outcomes, took, time.Since(start)
}

// metric reads the lines of a metric, on one line; "none" if there is none.
func metric(t *testing.T, web *http.Client, url, name string) string {
	t.Helper()
	resp, err := web.Get(url + "/metrics")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = resp.Body.Close() }()
	body, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	var found []string
	for line := range strings.Lines(string(body)) {
		if strings.HasPrefix(line, name) {
			found = append(found, strings.TrimSpace(line))
		}
	}
	if found == nil {
		return "none"
	}
	return strings.Join(found, ", ")
}
