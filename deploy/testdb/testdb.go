// Package testdb gives each test a PostgreSQL database of its own, with
// Wetside's tables in it and nothing else.
//
//	pool := testdb.New(t)
//
// The databases are cloned from a template that is migrated once, so one costs
// some tens of milliseconds and tests may run in parallel. The server is the
// one that WETSIDE_TEST_DATABASE_URL names; its role must be allowed to create
// databases. Without that variable each test binary starts a server for itself
// by deploy/withpg, in a container or from local binaries. Where none can be
// had the tests fail; they never skip.
package testdb

import (
	"context"
	"crypto/rand"
	"fmt"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
)

// prefix begins the names of the databases of tests.
const prefix = "wetside_test_"

// patience bounds every step of setting up and clearing away.
const patience = time.Minute

// New makes a database for tb and returns a pool on it, which scans instants
// in UTC. Both are gone when tb ends; a connection that tb did not give back
// to the pool by then fails it.
func New(tb testing.TB) *pgxpool.Pool {
	tb.Helper()
	pool, err := open(tb.Context(), URL(tb))
	if err != nil {
		tb.Fatal("testdb: ", err)
	}
	tb.Cleanup(func() { closePool(tb, pool) })
	return pool
}

// URL makes a database for tb, for tests that start whole programs, and returns
// where it is. It is dropped when tb ends, whoever is connected to it.
func URL(tb testing.TB) string {
	tb.Helper()
	s, err := shared()
	if err != nil {
		tb.Fatal("testdb: ", err)
	}
	name, err := s.clone(tb.Context())
	if err != nil {
		tb.Fatal("testdb: ", err)
	}
	tb.Cleanup(func() {
		// tb's own context is over by now.
		ctx, cancel := context.WithTimeout(context.Background(), patience)
		defer cancel()
		if err := s.exec(ctx, "DROP DATABASE IF EXISTS "+quote(name)+" WITH (FORCE)"); err != nil {
			tb.Error("testdb: drop the database: ", err)
		}
	})
	return s.database(name)
}

// server is a PostgreSQL with the template in it.
type server struct {
	url      string
	template string
	fileCopy bool // clone by copying files, which PostgreSQL 15 and newer must be asked for

	// holder goes when this process does. It is kept here so that it stays
	// reachable: collected, it would close its end of the pipe.
	holder *holder
}

// clone makes a database and returns its name, which holds the time, so that
// what a killed test left behind can be told from what is in use.
func (s *server) clone(ctx context.Context) (string, error) {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	name := fmt.Sprintf("%s%d_%s", prefix, time.Now().Unix(), strings.ToLower(rand.Text()[:12]))
	sql := "CREATE DATABASE " + quote(name) + " TEMPLATE " + quote(s.template)
	if s.fileCopy {
		sql += " STRATEGY file_copy"
	}
	if err := s.exec(ctx, sql); err != nil {
		return "", fmt.Errorf("clone the template: %w", err)
	}
	return name, nil
}

// exec runs one statement in the maintenance database.
func (s *server) exec(ctx context.Context, sql string) error {
	conn, err := pgx.Connect(ctx, s.url)
	if err != nil {
		return err
	}
	defer func() { _ = conn.Close(ctx) }()
	_, err = conn.Exec(ctx, sql)
	return err
}

// database is the URL of another database of the server.
func (s *server) database(name string) string {
	u, err := url.Parse(s.url)
	if err != nil {
		panic("testdb: " + err.Error()) // prepare parsed it before
	}
	u.Path = "/" + name
	return u.String()
}

func quote(name string) string { return pgx.Identifier{name}.Sanitize() }
