package testdb

import (
	"context"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"wetside/lab"
)

// maxConns is small, because many tests share one server, and big enough for
// tests that race some transactions against each other.
const maxConns = 8

// open makes the pool of one test, which reads values as a server's pool does.
func open(ctx context.Context, url string) (*pgxpool.Pool, error) {
	config, err := pgxpool.ParseConfig(url)
	if err != nil {
		return nil, err
	}
	config.MaxConns = maxConns
	config.AfterConnect = func(_ context.Context, conn *pgx.Conn) error {
		lab.ScanUTC(conn.TypeMap())
		return nil
	}
	return pgxpool.NewWithConfig(context.WithoutCancel(ctx), config)
}

// closePool waits for the connections that the test still has.
func closePool(tb testing.TB, pool *pgxpool.Pool) {
	closed := make(chan struct{})
	go func() {
		pool.Close()
		close(closed)
	}()
	select {
	case <-closed:
	case <-time.After(10 * time.Second):
		tb.Errorf("testdb: %d connections were not given back to the pool", pool.Stat().AcquiredConns())
	}
}
