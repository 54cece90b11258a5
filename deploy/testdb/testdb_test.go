package testdb_test

import (
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"

	"wetside/deploy/testdb"
	"wetside/migrations"
)

func TestEachTestHasADatabaseOfItsOwn(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	one, other := testdb.New(t), testdb.New(t)
	if _, err := one.Exec(ctx, "CREATE TABLE only_here (n int)"); err != nil {
		t.Fatal(err)
	}
	var there bool
	err := other.QueryRow(ctx, "SELECT to_regclass('only_here') IS NOT NULL").Scan(&there)
	if err != nil || there {
		t.Errorf("the other database has the table: %v, %v", there, err)
	}
	at, newest, err := migrations.Current(ctx, other)
	if err != nil || at != newest || at == 0 {
		t.Errorf("migrated to %d of %d, %v", at, newest, err)
	}
}

func TestTheDatabaseGoesWithItsTest(t *testing.T) {
	t.Parallel()
	var url string
	t.Run("a test", func(t *testing.T) { url = testdb.URL(t) })
	if conn, err := pgx.Connect(t.Context(), url); err == nil {
		_ = conn.Close(t.Context())
		t.Error("the database outlived its test")
	}
}

func TestInstantsArriveInUTC(t *testing.T) {
	t.Parallel()
	var at time.Time
	var list []time.Time
	var span pgtype.Range[time.Time]
	err := testdb.New(t).QueryRow(t.Context(), `
		WITH i AS (SELECT timestamptz '2026-07-01 12:00+02' AS at)
		SELECT at, ARRAY[at], tstzrange(at, at + interval '1 hour') FROM i`).Scan(&at, &list, &span)
	if err != nil {
		t.Fatal(err)
	}
	want := time.Date(2026, 7, 1, 10, 0, 0, 0, time.UTC)
	for _, got := range []time.Time{at, list[0], span.Lower} {
		if got != want { // == tells locations apart
			t.Errorf("got %v, want %v", got, want)
		}
	}
}

func TestServerStopsAndStartsAgain(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	server := testdb.Server(t)
	write := func(sql string) error {
		conn, err := pgx.Connect(ctx, server.URL())
		if err != nil {
			return err
		}
		defer func() { _ = conn.Close(ctx) }()
		_, err = conn.Exec(ctx, sql)
		return err
	}
	if err := write("CREATE TABLE kept (n int)"); err != nil {
		t.Fatal(err)
	}
	conn, err := pgx.Connect(ctx, server.URL())
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close(ctx) }()

	server.Stop()
	if err := conn.Ping(ctx); err == nil {
		t.Error("a connection outlived the server")
	}
	if err := write("SELECT 1"); err == nil {
		t.Error("a stopped server answered")
	}
	server.Start()
	if err := write("INSERT INTO kept VALUES (1)"); err != nil {
		t.Errorf("after the restart: %v", err)
	}
}
