// Package migrations holds the database's schema as numbered SQL files and
// brings a database up to it.
package migrations

import (
	"context"
	"embed"
	"fmt"

	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"
)

//go:embed *.sql
var files embed.FS

// Up applies what the database lacks and returns how many files that was. It
// is safe to call from several processes at once: an advisory lock lets one
// work while the others wait and then find nothing to do. pool must allow two
// connections at least.
func Up(ctx context.Context, pool *pgxpool.Pool) (applied int, err error) {
	p, err := provider(pool)
	if err != nil {
		return 0, err
	}
	defer func() { _ = p.Close() }()
	results, err := p.Up(ctx)
	if err != nil {
		return len(results), fmt.Errorf("migrate: %w", err)
	}
	return len(results), nil
}

// Current is the version the database is at and the newest that this program knows.
func Current(ctx context.Context, pool *pgxpool.Pool) (at, newest int64, err error) {
	p, err := provider(pool)
	if err != nil {
		return 0, 0, err
	}
	defer func() { _ = p.Close() }()
	return p.GetVersions(ctx)
}

// provider makes a goose provider over pool; closing it leaves the pool open.
func provider(pool *pgxpool.Pool) (*goose.Provider, error) {
	locker, err := lock.NewPostgresSessionLocker()
	if err != nil {
		return nil, fmt.Errorf("migration lock: %w", err)
	}
	p, err := goose.NewProvider(goose.DialectPostgres, stdlib.OpenDBFromPool(pool), files,
		goose.WithSessionLocker(locker))
	if err != nil {
		return nil, fmt.Errorf("read migrations: %w", err)
	}
	return p, nil
}
