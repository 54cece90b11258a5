package api

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"wetside/lab"
)

// How long connecting may take, and how long a connection is kept.
const (
	connectTime  = 3 * time.Second
	pingTime     = 2 * time.Second
	connLife     = time.Hour
	connJitter   = 10 * time.Minute
	connIdleTime = 15 * time.Minute
)

// Connect makes the pool of a server. It does not wait for the database: a
// pool on one that is down is made all the same, and works once it is up. It
// fails if the URL is not one, without repeating it, since it may hold a password.
func Connect(ctx context.Context, url string, most, idle int32) (*pgxpool.Pool, error) {
	config, err := pgxpool.ParseConfig(url)
	if err != nil {
		return nil, fmt.Errorf("the database's address cannot be read: %w", err) // pgx redacts the password
	}
	config.MaxConns = most
	config.MinIdleConns = idle
	config.MaxConnLifetime = connLife
	config.MaxConnLifetimeJitter = connJitter
	config.MaxConnIdleTime = connIdleTime
	config.PingTimeout = pingTime
	if config.ConnConfig.ConnectTimeout == 0 {
		config.ConnConfig.ConnectTimeout = connectTime
	}
	config.AfterConnect = func(_ context.Context, conn *pgx.Conn) error {
		lab.ScanUTC(conn.TypeMap())
		return nil
	}
	pool, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return nil, fmt.Errorf("open the pool: %w", err)
	}
	return pool, nil
}
