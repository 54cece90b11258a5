package api

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"time"
)

// Bounds of a connection. WriteTimeout is longer than any operation may take.
const (
	headerTime  = 5 * time.Second
	readTime    = 20 * time.Second
	writeTime   = 90 * time.Second
	idleTime    = 2 * time.Minute
	headerBytes = 32 << 10
)

// Serve answers requests on l until ctx is done. Then it fails /readyz for
// the time delay, so that whoever sends requests here can stop, lets the
// requests under way finish within grace, and returns nil if they did.
func (a *API) Serve(ctx context.Context, l net.Listener, delay, grace time.Duration) error {
	srv := &http.Server{
		Handler:           a,
		ReadHeaderTimeout: headerTime,
		ReadTimeout:       readTime,
		WriteTimeout:      writeTime,
		IdleTimeout:       idleTime,
		MaxHeaderBytes:    headerBytes,
		ErrorLog:          slog.NewLogLogger(a.log.Handler(), slog.LevelWarn),
	}
	served := make(chan error, 1)
	go func() { served <- srv.Serve(l) }()
	select {
	case err := <-served:
		return fmt.Errorf("serve: %w", err)
	case <-ctx.Done():
	}
	a.Drain()
	a.log.Info("stopping", "delay", delay.String(), "grace", grace.String())
	time.Sleep(delay)
	ending, cancel := context.WithTimeout(context.WithoutCancel(ctx), grace)
	defer cancel()
	if err := srv.Shutdown(ending); err != nil {
		return errors.Join(fmt.Errorf("requests were cut off: %w", err), srv.Close())
	}
	return nil
}
