package testdb

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"wetside/migrations"
)

// templateLock is the advisory lock under which one process makes the template
// while the others wait for it. The number means nothing; it only is ours.
const templateLock = 0x57e7_51de

// abandoned is the age at which a test's database is taken for left behind.
const abandoned = 6 * time.Hour

// prepare makes sure that the server at url has a template for the migrations
// of this program. Many processes may do so at once.
func prepare(ctx context.Context, url string) (*server, error) {
	digest, err := migrations.Digest()
	if err != nil {
		return nil, fmt.Errorf("digest of the migrations: %w", err)
	}
	s := &server{url: url, template: "wetside_template_" + digest[:16]}
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		return nil, err
	}
	defer func() { _ = conn.Close(context.WithoutCancel(ctx)) }() // gives the lock back too
	if _, err := conn.Exec(ctx, "SELECT pg_advisory_lock($1)", templateLock); err != nil {
		return nil, fmt.Errorf("wait for the template: %w", err)
	}
	var version int
	var ready bool
	err = conn.QueryRow(ctx, `
		SELECT current_setting('server_version_num')::int,
		       EXISTS (SELECT FROM pg_database WHERE datname = $1)`, s.template).Scan(&version, &ready)
	if err != nil {
		return nil, fmt.Errorf("look for the template: %w", err)
	}
	s.fileCopy = version >= 150000
	if ready {
		return s, nil
	}
	if err := s.sweep(ctx, conn, time.Now()); err != nil {
		return nil, err
	}
	return s, s.build(ctx, conn)
}

// build migrates a new database and gives it the template's name only when
// that is done, so that a template is either absent or complete.
func (s *server) build(ctx context.Context, conn *pgx.Conn) error {
	draft := s.template + "_draft"
	for _, sql := range []string{
		"DROP DATABASE IF EXISTS " + quote(draft) + " WITH (FORCE)",
		"CREATE DATABASE " + quote(draft) + " TEMPLATE template0 ENCODING 'UTF8'",
	} {
		if _, err := conn.Exec(ctx, sql); err != nil {
			return fmt.Errorf("make the template: %w", err)
		}
	}
	pool, err := pgxpool.New(ctx, s.database(draft))
	if err != nil {
		return err
	}
	_, err = migrations.Up(ctx, pool)
	pool.Close()
	if err != nil {
		return fmt.Errorf("make the template: %w", err)
	}
	if _, err := conn.Exec(ctx, "ALTER DATABASE "+quote(draft)+" RENAME TO "+quote(s.template)); err != nil {
		return fmt.Errorf("make the template: %w", err)
	}
	return nil
}

// sweep drops the databases that killed tests left on a server that lives on.
func (s *server) sweep(ctx context.Context, conn *pgx.Conn, now time.Time) error {
	rows, err := conn.Query(ctx, "SELECT datname FROM pg_database WHERE starts_with(datname, $1)", prefix)
	if err != nil {
		return fmt.Errorf("look for old databases: %w", err)
	}
	names, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return fmt.Errorf("look for old databases: %w", err)
	}
	for _, name := range names {
		stamp, _, _ := strings.Cut(strings.TrimPrefix(name, prefix), "_")
		made, err := strconv.ParseInt(stamp, 10, 64)
		if err != nil || now.Sub(time.Unix(made, 0)) < abandoned {
			continue
		}
		if _, err := conn.Exec(ctx, "DROP DATABASE IF EXISTS "+quote(name)+" WITH (FORCE)"); err != nil {
			return fmt.Errorf("drop %s: %w", name, err)
		}
	}
	return nil
}
