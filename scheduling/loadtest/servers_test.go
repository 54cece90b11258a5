package loadtest

import (
	"bufio"
	"context"
	"encoding/json"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

// ours names the connections of the test itself, which are spared.
const ours = "loadtest"

// servers are "wetside serve" several times over, on one database.
type servers struct {
	t      *testing.T
	binary string
	env    []string
	urls   []atomic.Pointer[string]
	mu     sync.Mutex
	cmds   []*exec.Cmd

	killed, terminated atomic.Int64
}

// startServers builds the program, and starts n of it.
func startServers(t *testing.T, n int, database string) *servers {
	t.Helper()
	s := &servers{t: t, binary: filepath.Join(t.TempDir(), "wetside"), urls: make([]atomic.Pointer[string], n), cmds: make([]*exec.Cmd, n)}
	if out, err := exec.CommandContext(t.Context(), "go", "build", "-o", s.binary, "wetside/cmd/wetside").CombinedOutput(); err != nil {
		t.Fatalf("building the server: %v\n%s", err, out)
	}
	s.env = append(os.Environ(), "WETSIDE_DATABASE_URL="+database, "WETSIDE_LISTEN=127.0.0.1:0", "WETSIDE_TRIAL=true", "WETSIDE_LOG_LEVEL=info")
	t.Cleanup(func() {
		for i := range s.cmds {
			s.kill(i)
		}
	})
	for i := range n {
		s.start(i)
		s.await(i)
	}
	return s
}

// start starts one server; its address is known once it listens.
func (s *servers) start(i int) {
	cmd := exec.Command(s.binary, "serve")
	cmd.Env = s.env
	log, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		s.t.Errorf("starting a server: %v", err)
		return
	}
	s.mu.Lock()
	s.cmds[i] = cmd
	s.mu.Unlock()
	go func() {
		lines := bufio.NewScanner(log)
		for lines.Scan() {
			var entry struct{ Msg, Address string }
			if json.Unmarshal(lines.Bytes(), &entry) == nil && entry.Msg == "listening" {
				url := "http://" + entry.Address
				s.urls[i].Store(&url)
			}
		}
		_, _ = io.Copy(io.Discard, log)
	}()
}

// await waits until a server is ready.
func (s *servers) await(i int) {
	for deadline := time.Now().Add(30 * time.Second); ; time.Sleep(10 * time.Millisecond) {
		if url := s.urls[i].Load(); url != nil {
			if resp, err := http.Get(*url + "/readyz"); err == nil {
				_ = resp.Body.Close()
				if resp.StatusCode == http.StatusOK {
					return
				}
			}
		}
		if time.Now().After(deadline) {
			s.t.Errorf("server %d does not get ready", i)
			return
		}
	}
}

// kill kills a server as a power cut would.
func (s *servers) kill(i int) {
	s.mu.Lock()
	cmd := s.cmds[i]
	s.cmds[i] = nil
	s.mu.Unlock()
	if cmd != nil {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	}
	s.urls[i].Store(nil)
}

// url is the address of one that runs, "" if none does.
func (s *servers) url(random *rand.Rand) string {
	for range 20 {
		if url := s.urls[random.IntN(len(s.urls))].Load(); url != nil {
			return *url
		}
		time.Sleep(5 * time.Millisecond)
	}
	return ""
}

// storm kills servers and connections at random until ctx is done.
func (s *servers) storm(ctx context.Context, database string, random *rand.Rand) {
	conn, err := pgx.Connect(ctx, database)
	if err != nil {
		s.t.Error(err)
		return
	}
	defer func() { _ = conn.Close(context.WithoutCancel(ctx)) }()
	for {
		select {
		case <-ctx.Done():
			return
		case <-time.After(time.Duration(100+random.IntN(400)) * time.Millisecond):
		}
		if random.IntN(4) == 0 {
			i := random.IntN(len(s.cmds))
			s.kill(i)
			s.start(i)
			s.await(i)
			s.killed.Add(1)
			continue
		}
		tag, err := conn.Exec(ctx, `SELECT pg_terminate_backend(pid) FROM (SELECT pid FROM pg_stat_activity
			WHERE datname = current_database() AND pid <> pg_backend_pid() AND backend_type = 'client backend'
				AND application_name <> '`+ours+`'
			ORDER BY (state = 'idle'), random() LIMIT 2) x`)
		if err != nil && ctx.Err() == nil {
			s.t.Errorf("terminating connections: %v", err)
		}
		s.terminated.Add(tag.RowsAffected())
	}
}

// tangle makes deadlocks until ctx is done: it holds a booking and wants its
// lab, while requests hold the lab and want the booking. PostgreSQL ends whoever
// finds out first; this one looks last.
func (s *servers) tangle(ctx context.Context, database string, random *rand.Rand) {
	conn, err := pgx.Connect(ctx, database)
	if err != nil {
		s.t.Error(err)
		return
	}
	defer func() { _ = conn.Close(context.WithoutCancel(ctx)) }()
	for ctx.Err() == nil {
		time.Sleep(time.Duration(random.IntN(100)) * time.Millisecond)
		if conn.IsClosed() { // the storm does not spare it
			again, err := pgx.Connect(ctx, database)
			if err != nil {
				return
			}
			conn = again
		}
		_ = pgx.BeginFunc(ctx, conn, func(tx pgx.Tx) error { // whatever comes of it
			_, err := tx.Exec(ctx, `SET LOCAL deadlock_timeout = '3s'`)
			if err != nil {
				return err
			}
			var lab string
			err = tx.QueryRow(ctx, `SELECT lab_id FROM bookings WHERE cancelled_at IS NULL AND lapsed_at IS NULL ORDER BY id DESC LIMIT 1 FOR UPDATE`).Scan(&lab)
			if err != nil {
				return err
			}
			time.Sleep(20 * time.Millisecond) // for a request to come between
			_, err = tx.Exec(ctx, `SELECT FROM labs WHERE id = $1 FOR UPDATE`, lab)
			return err
		})
	}
}
