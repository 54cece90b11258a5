// Package localpg starts a private PostgreSQL from the binaries installed on
// this machine: for tests, where it is thrown away afterwards, and for trying
// Wetside, where its data folder is kept.
//
// The server listens on the loopback address alone. It also works for root,
// whom PostgreSQL refuses to serve: its programs then run as the account
// "postgres", else "nobody". It runs on Linux, because it relies on the kernel
// to stop the server when the program that started it dies.
package localpg

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"sync"
	"time"
)

// Options says what to start. The zero value is a server for tests.
type Options struct {
	// BinDir holds initdb and postgres; FindBinaries looks for it when empty.
	BinDir string
	// Dir is kept and used again by a later Start; empty means a temporary
	// folder, which Close removes.
	Dir string
	// Port is a TCP port of the loopback address; 0 means a free one.
	Port int
	// Durable is for data that matters: every commit reaches the disk, and a
	// password is asked for. Otherwise a crash of the machine may lose all,
	// and every local account may connect.
	Durable bool
	// MaxConnections is 300 when 0.
	MaxConnections int
}

// Server is a PostgreSQL that this program started.
type Server struct {
	opts      Options
	account   *account
	temporary bool
	password  string

	mu      sync.Mutex
	process *process // nil while stopped
}

// ErrNoBinaries means that PostgreSQL is not installed here.
var ErrNoBinaries = errors.New("no PostgreSQL server binaries found (looked at PG_BIN_DIR, pg_config --bindir, /usr/lib/postgresql/*/bin and PATH)")

// startLimit bounds initdb and the wait for the first connection, each.
const startLimit = 60 * time.Second

// Start prepares the folder where it is new, starts the server and waits until
// it takes connections. The caller must Close it.
func Start(ctx context.Context, opts Options) (*Server, error) {
	if opts.BinDir == "" {
		dir, err := FindBinaries()
		if err != nil {
			return nil, err
		}
		opts.BinDir = dir
	}
	if opts.MaxConnections == 0 {
		opts.MaxConnections = 300
	}
	who, err := serverAccount()
	if err != nil {
		return nil, err
	}
	s := &Server{opts: opts, account: who, temporary: opts.Dir == ""}
	if err := s.prepare(ctx); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	if err := s.Start(ctx); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

// URL connects to the maintenance database as the superuser. It stays the same
// while the server is stopped and started again.
func (s *Server) URL() string {
	u := url.URL{
		Scheme:   "postgres",
		User:     url.User("postgres"),
		Host:     net.JoinHostPort("127.0.0.1", strconv.Itoa(s.opts.Port)),
		Path:     "/postgres",
		RawQuery: "sslmode=disable",
	}
	if s.password != "" {
		u.User = url.UserPassword("postgres", s.password)
	}
	return u.String()
}

// Start starts a stopped server again, on the same port with the same data.
// It does nothing while the server runs.
func (s *Server) Start(ctx context.Context) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.process != nil {
		return nil
	}
	// Another program may take a free port between our look and the server's
	// bind; a port that was asked for gets one try.
	for try := 1; ; try++ {
		wanted := s.opts.Port
		if wanted == 0 {
			port, err := freePort()
			if err != nil {
				return err
			}
			s.opts.Port = port
		}
		err := s.launch(ctx)
		if err == nil {
			return nil
		}
		s.opts.Port = wanted
		if wanted != 0 || try == 5 || ctx.Err() != nil {
			return err
		}
	}
}

// Stop ends the server and its connections, without waiting for transactions,
// and keeps all that was committed.
func (s *Server) Stop() error { return s.stop(true) }

// Close stops the server and removes its folder if that was temporary.
func (s *Server) Close() error {
	err := s.stop(!s.temporary)
	if s.temporary && s.opts.Dir != "" {
		err = errors.Join(err, os.RemoveAll(s.opts.Dir))
	}
	return err
}

func (s *Server) stop(orderly bool) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.process == nil {
		return nil
	}
	err := s.process.stop(orderly)
	s.process = nil
	return err
}

// launch starts the server process and waits for its first answer.
func (s *Server) launch(ctx context.Context) error {
	args := []string{
		"-D", filepath.Join(s.opts.Dir, "data"),
		"-h", "127.0.0.1",
		"-p", strconv.Itoa(s.opts.Port),
		"-c", "unix_socket_directories=",
		"-c", "max_connections=" + strconv.Itoa(s.opts.MaxConnections),
		"-c", "logging_collector=off",
		"-c", "log_destination=stderr",
	}
	if !s.opts.Durable {
		args = append(args, "-c", "fsync=off", "-c", "synchronous_commit=off",
			"-c", "full_page_writes=off", "-c", "autovacuum=off")
	}
	log, err := os.OpenFile(s.logPath(), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return fmt.Errorf("open PostgreSQL's log: %w", err)
	}
	defer func() { _ = log.Close() }()
	cmd := exec.Command(filepath.Join(s.opts.BinDir, "postgres"), args...)
	cmd.Dir = s.opts.Dir
	cmd.Stdout, cmd.Stderr = log, log
	p, err := startProcess(cmd, s.account, s.opts.Durable)
	if err != nil {
		return fmt.Errorf("start PostgreSQL: %w", err)
	}
	if err := p.awaitReady(ctx, s.URL()); err != nil {
		_ = p.stop(false)
		return fmt.Errorf("PostgreSQL did not start: %w; its log ends:\n%s", err, tail(s.logPath()))
	}
	s.process = p
	return nil
}

func (s *Server) logPath() string { return filepath.Join(s.opts.Dir, "postgres.log") }

// freePort asks the kernel for a loopback port that nobody uses just now.
func freePort() (int, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return 0, fmt.Errorf("find a free port: %w", err)
	}
	defer func() { _ = l.Close() }()
	return l.Addr().(*net.TCPAddr).Port, nil
}

// tail is the last part of a log, enough to see why a start failed.
func tail(path string) string {
	text, err := os.ReadFile(path)
	if err != nil {
		return err.Error()
	}
	const most = 1500
	if len(text) > most {
		text = text[len(text)-most:]
	}
	return string(text)
}
