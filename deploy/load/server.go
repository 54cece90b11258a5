package main

import (
	"bytes"
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/exec"
	"runtime/pprof"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"

	"wetside/api"
	"wetside/lab/units"
	"wetside/openapi"
)

// secret seals the signing keys of the measured database, for every server on it.
var secret = bytes.Repeat([]byte{7}, 32)

// startTime is how long a server may take to be ready.
const startTime = time.Minute

// A server is where requests go.
type server struct {
	address string
	stop    func() error
}

// serve starts a server without limits on the database, with a connection for
// each client: the program, or with -profile one within this process.
func (b *bench) serve(ctx context.Context, url string) (*server, error) {
	if b.profile != "" {
		return b.serveHere(ctx, url)
	}
	address, err := freeAddress()
	if err != nil {
		return nil, err
	}
	var said bytes.Buffer
	cmd := exec.Command(b.wetside, "serve")
	cmd.Stderr = &said
	cmd.Env = append(os.Environ(), "WETSIDE_LISTEN="+address, "WETSIDE_DATABASE_URL="+url,
		"WETSIDE_SECRET="+base64.RawURLEncoding.EncodeToString(secret), "WETSIDE_TOKEN_LIFETIME=PT2H",
		fmt.Sprintf("WETSIDE_POOL_MAX=%d", b.clients+2), fmt.Sprintf("WETSIDE_POOL_IDLE=%d", b.clients),
		"WETSIDE_RATE_ADDRESS=0", "WETSIDE_RATE_MEMBER=0", "WETSIDE_RATE_SIGN_IN=0", "WETSIDE_DRAIN_DELAY=PT0S")
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	s := &server{address, func() error {
		if err := cmd.Process.Signal(syscall.SIGTERM); err != nil {
			return err
		}
		return cmd.Wait()
	}}
	for began := time.Now(); !ready(ctx, address); time.Sleep(50 * time.Millisecond) {
		if time.Since(began) > startTime || ctx.Err() != nil {
			_ = s.stop()
			return nil, fmt.Errorf("the server does not become ready: %s", &said)
		}
	}
	return s, nil
}

func freeAddress() (string, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", err
	}
	return l.Addr().String(), l.Close()
}

func ready(ctx context.Context, address string) bool {
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+address+"/readyz", nil)
	if err != nil {
		return false
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		return false
	}
	_ = resp.Body.Close()
	return resp.StatusCode == http.StatusOK
}

// serveHere serves within this process and writes its processor profile.
func (b *bench) serveHere(ctx context.Context, url string) (*server, error) {
	file, err := os.Create(b.profile)
	if err != nil {
		return nil, err
	}
	pool, err := api.Connect(ctx, url, int32(b.clients+2), int32(b.clients))
	if err != nil {
		return nil, err
	}
	s, err := here(ctx, pool)
	if err != nil {
		pool.Close()
		return nil, err
	}
	if err := pprof.StartCPUProfile(file); err != nil {
		return nil, errors.Join(err, s.stop())
	}
	return &server{s.address, func() error {
		pprof.StopCPUProfile()
		return errors.Join(s.stop(), file.Close())
	}}, nil
}

// here serves an API on a pool, which is closed at the end, at a loopback address.
func here(ctx context.Context, pool *pgxpool.Pool) (*server, error) {
	a, err := api.New(api.Config{
		Pool: pool, Contract: openapi.Document, Secret: secret, Issuer: "wetside", Audience: "wetside",
		TokenLifetime: 2 * units.Hour, Log: slog.New(slog.NewJSONHandler(io.Discard, nil)),
	})
	if err != nil {
		return nil, err
	}
	if err := a.Migrate(ctx); err != nil {
		return nil, err
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	life, end := context.WithCancel(ctx)
	ended := make(chan error, 1)
	go func() { ended <- a.Serve(life, l, 0, startTime) }()
	return &server{l.Addr().String(), func() error {
		end()
		err := <-ended
		pool.Close()
		return err
	}}, nil
}
