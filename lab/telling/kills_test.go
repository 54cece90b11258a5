package telling_test

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"wetside/deploy/testdb"
	"wetside/lab"
	"wetside/lab/jobs/jobstest"
	"wetside/lab/telling"
)

// While servers are killed at random, and their connections terminated, things
// are told in transactions of which some are rolled back. Whatever was
// committed is sent, by web hook and by mail, at least once and under one id;
// nothing else ever is. WETSIDE_TEST_TOLD is how many things each of four tells,
// 60 unless given.
func TestToldUnderKills(t *testing.T) {
	t.Parallel()
	const tellers = 4
	each := 60
	if given := os.Getenv("WETSIDE_TEST_TOLD"); given != "" {
		var err error
		if each, err = strconv.Atoi(given); err != nil {
			t.Fatal(err)
		}
	}
	st := newStorm(t)
	ctx, calm := context.WithCancel(t.Context())
	var storm, wg sync.WaitGroup
	storm.Go(func() { st.kill(ctx, rand.New(rand.NewPCG(1, 2))) })
	for i := range tellers {
		wg.Go(func() { st.tell(i, each, rand.New(rand.NewPCG(uint64(i), 3))) })
	}
	wg.Wait()
	calm()
	storm.Wait()
	st.settle()

	rows := func(query string) map[string]bool {
		all := map[string]bool{}
		for _, v := range st.All(query) {
			all[v] = true
		}
		return all
	}
	events := rows(`SELECT id FROM hook_events`)
	st.mu.Lock()
	defer st.mu.Unlock()
	twice := 0
	for id := range events {
		if st.heard[id] == 0 {
			t.Errorf("event %s was never sent", id)
		} else if st.heard[id] > 1 {
			twice++
		}
	}
	for id := range st.heard {
		if !events[id] {
			t.Errorf("event %s was sent, and never happened", id)
		}
	}
	for id := range st.acknowledged {
		if !events[id] {
			t.Errorf("event %s was acknowledged and is lost", id)
		}
	}
	mailed := 0
	for to, committed := range st.mailed {
		if got := st.received[to]; committed && got == 0 {
			t.Errorf("mail to %s was never sent", to)
		} else if !committed && got > 0 {
			t.Errorf("mail to %s was sent, and never asked for", to)
		} else if committed {
			mailed++
		}
	}
	if left := st.All(`SELECT id FROM mails`); len(left) > 0 {
		t.Errorf("%d mails are left over", len(left))
	}
	t.Logf("%d events and %d mails committed, %d transactions rolled back, %d pings acknowledged; %d servers killed, %d connections terminated; %d events were sent more than once",
		len(events), mailed, st.undone.Load(), len(st.acknowledged), st.killed.Load(), st.terminated.Load(), twice)
	if st.killed.Load() == 0 || st.undone.Load() == 0 || len(st.acknowledged) == 0 || mailed == 0 {
		t.Error("the storm was too weak to show anything")
	}
}

// A storm is two servers on a database of their own, what they send, and what
// was told.
type storm struct {
	*jobstest.Bench
	t           *testing.T
	binary, url string
	env         []string
	cmds        [2]*exec.Cmd
	urls        [2]atomic.Pointer[string]
	hook, lab   string
	token       string

	mu           sync.Mutex
	heard        map[string]int  // by event
	received     map[string]int  // by mail address
	mailed       map[string]bool // whether it was committed
	acknowledged map[string]bool // events of pings

	undone, killed, terminated atomic.Int64
}

func newStorm(t *testing.T) *storm {
	t.Helper()
	st := &storm{t: t, binary: filepath.Join(t.TempDir(), "wetside"), url: testdb.URL(t),
		heard: map[string]int{}, received: map[string]int{}, mailed: map[string]bool{}, acknowledged: map[string]bool{}}
	if out, err := exec.CommandContext(t.Context(), "go", "build", "-o", st.binary, "wetside/cmd/wetside").CombinedOutput(); err != nil {
		t.Fatalf("building the server: %v\n%s", err, out)
	}
	config, err := pgxpool.ParseConfig(st.url)
	if err != nil {
		t.Fatal(err)
	}
	config.ConnConfig.RuntimeParams["application_name"] = "storm"
	pool, err := pgxpool.NewWithConfig(t.Context(), config)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(pool.Close)
	box := &postbox{took: func(to string) {
		st.mu.Lock()
		st.received[to]++
		st.mu.Unlock()
	}}
	st.env = append(os.Environ(), "WETSIDE_DATABASE_URL="+st.url, "WETSIDE_LISTEN=127.0.0.1:0", "WETSIDE_TRIAL=true",
		"WETSIDE_SMTP_URL=smtp://"+box.open(t)+"?starttls=never", "WETSIDE_MAIL_FROM=lab@example.org")
	random := rand.New(rand.NewPCG(4, 5))
	hears := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		_, _ = io.Copy(io.Discard, r.Body)
		st.mu.Lock()
		st.heard[r.Header.Get("Webhook-Id")]++
		bad, pause := random.IntN(10) == 0, time.Duration(random.IntN(30))*time.Millisecond
		st.mu.Unlock()
		time.Sleep(pause) // so that a kill finds calls under way
		if bad {
			w.WriteHeader(http.StatusServiceUnavailable)
		}
	}))
	t.Cleanup(hears.Close)
	t.Cleanup(func() { st.stop(0); st.stop(1) })
	st.start(0)
	st.start(1)
	var setup, signed struct {
		Token string `json:"access_token"`
	}
	var made lab.Founding
	var hook telling.HookSecret
	st.mustPost("", "/v1/tokens", `{"code":"wetside-trial"}`, &setup)
	st.mustPost(setup.Token, "/v1/labs", `{"name":"Basement","time_zone":"Europe/Lisbon","currency":"EUR","keeper":"Ann Osier"}`, &made)
	st.mustPost("", "/v1/tokens", `{"code":"`+made.SignIn.Code+`"}`, &signed)
	st.token, st.lab = signed.Token, made.Lab.ID
	st.mustPost(st.token, "/v1/labs/"+st.lab+"/hooks", `{"url":"`+hears.URL+`"}`, &hook)
	st.hook = hook.Hook.ID
	st.Bench = jobstest.On(t, pool, made.Lab)
	return st
}

// start starts a server and waits until it is ready.
func (st *storm) start(i int) {
	cmd := exec.Command(st.binary, "serve")
	cmd.Env = st.env
	log, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		st.t.Error(err)
		return
	}
	st.cmds[i] = cmd
	listening := make(chan string, 1)
	go func() {
		for lines := bufio.NewScanner(log); lines.Scan(); {
			var entry struct{ Msg, Address string }
			if json.Unmarshal(lines.Bytes(), &entry) == nil && entry.Msg == "listening" {
				listening <- "http://" + entry.Address
			}
		}
	}()
	url := <-listening
	for deadline := time.Now().Add(30 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		if resp, err := http.Get(url + "/readyz"); err == nil {
			_ = resp.Body.Close()
			if resp.StatusCode == http.StatusOK {
				break
			}
		}
		if time.Now().After(deadline) {
			st.t.Error("a server does not get ready")
			return
		}
	}
	st.urls[i].Store(&url)
}

// stop kills a server, as a power cut would.
func (st *storm) stop(i int) {
	if cmd := st.cmds[i]; cmd != nil {
		st.urls[i].Store(nil)
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
		st.cmds[i] = nil
	}
}

// kill kills servers and terminates connections until ctx is done.
func (st *storm) kill(ctx context.Context, random *rand.Rand) {
	for {
		select {
		case <-ctx.Done():
			return
		case <-time.After(time.Duration(50+random.IntN(150)) * time.Millisecond):
		}
		if random.IntN(3) == 0 {
			i := random.IntN(2)
			st.stop(i)
			st.start(i)
			st.killed.Add(1)
			continue
		}
		tag, err := st.Pool.Exec(ctx, `SELECT pg_terminate_backend(pid) FROM (SELECT pid FROM pg_stat_activity
			WHERE datname = current_database() AND backend_type = 'client backend' AND application_name <> 'storm' ORDER BY random() LIMIT 1) x`)
		if err != nil && ctx.Err() == nil {
			st.t.Error(err)
		}
		st.terminated.Add(tag.RowsAffected())
	}
}

// tell tells things: in transactions of its own, some of which it rolls back,
// and by asking a server to.
func (st *storm) tell(teller, times int, random *rand.Rand) {
	undone := errors.New("undone")
	for n := range times {
		time.Sleep(time.Duration(random.IntN(60)) * time.Millisecond)
		if random.IntN(3) == 0 {
			st.ping(random)
			continue
		}
		to := fmt.Sprintf("teller-%d-%d@example.org", teller, n)
		commit := random.IntN(3) > 0
		st.mu.Lock()
		st.mailed[to] = commit
		st.mu.Unlock()
		err := st.InTx(func(tx pgx.Tx) error {
			err := errors.Join(
				telling.Tell(st.t.Context(), tx, st.Scope, telling.Notice{Kind: telling.FilmDry, About: "run_1", Words: map[string]string{"rolls": "One roll", "when": "Monday"}}),
				telling.Mail(st.t.Context(), tx, st.lab, to, "Hello", "Hello."))
			if err == nil && !commit {
				time.Sleep(time.Duration(random.IntN(50)) * time.Millisecond) // others look meanwhile
				err = undone
			}
			return err
		})
		if commit != (err == nil) || !commit && !errors.Is(err, undone) {
			st.t.Errorf("told: %v", err)
		}
		if !commit {
			st.undone.Add(1)
		}
	}
}

// ping has a server tell something; no answer may come.
func (st *storm) ping(random *rand.Rand) {
	var d telling.Delivery
	if url := st.urls[random.IntN(2)].Load(); url != nil && st.post(*url, st.token, "/v1/labs/"+st.lab+"/hooks/"+st.hook+"/pings", "", &d) == nil {
		st.mu.Lock()
		st.acknowledged[d.Event] = true
		st.mu.Unlock()
	}
}

func (st *storm) mustPost(token, path, body string, into any) {
	st.t.Helper()
	if err := st.post(*st.urls[0].Load(), token, path, body, into); err != nil {
		st.t.Fatal(err)
	}
}

func (st *storm) post(url, token, path, body string, into any) error {
	req, err := http.NewRequestWithContext(st.t.Context(), http.MethodPost, url+path, bytes.NewReader([]byte(body)))
	if err != nil {
		return err
	}
	if body != "" {
		req.Header.Set("Content-Type", "application/json")
	}
	if token != "" {
		req.Header.Set("Authorization", "Bearer "+token)
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		return err
	}
	defer func() { _ = resp.Body.Close() }()
	got, err := io.ReadAll(resp.Body)
	if err != nil {
		return err
	}
	if resp.StatusCode > 299 {
		return fmt.Errorf("%s: answered %d %s", path, resp.StatusCode, got)
	}
	return json.Unmarshal(got, into)
}

// settle lets all that waits be sent: it does away with the time for which
// another server leaves a killed one's jobs alone, and with pauses.
func (st *storm) settle() {
	st.stop(0)
	st.stop(1)
	// What the killed servers asked for last may still be under way, and take jobs.
	st.All(`SELECT pg_terminate_backend(pid, 10000)::text FROM pg_stat_activity
		WHERE datname = current_database() AND backend_type = 'client backend' AND application_name <> 'storm'`)
	st.All(`UPDATE river_job SET attempted_at = attempted_at - interval '10 min' WHERE state = 'running' RETURNING kind`)
	st.start(0)
	fewest := 0
	for began := time.Now(); ; time.Sleep(200 * time.Millisecond) {
		st.Again()
		left := st.All(`SELECT concat_ws(' ', kind, state, 'attempt', attempt, 'of', attempted_at) FROM river_job
			WHERE kind IN ('mail', 'deliver-event') AND state NOT IN ('completed', 'cancelled')`)
		if len(left) == 0 {
			return
		}
		if fewest == 0 || len(left) < fewest {
			fewest, began = len(left), time.Now()
		}
		if time.Since(began) > time.Minute {
			st.t.Fatalf("%d jobs are still under way, and have been for a minute: %q", len(left), left)
		}
	}
}
