package database_test

import (
	"context"
	"errors"
	"slices"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"

	"wetside/deploy/testdb"
	"wetside/lab/database"
)

// trips counts the round trips of a connection that carry statements.
type trips struct{ batches, queries int }

func (c *trips) TraceQueryStart(ctx context.Context, _ *pgx.Conn, _ pgx.TraceQueryStartData) context.Context {
	c.queries++
	return ctx
}
func (*trips) TraceQueryEnd(context.Context, *pgx.Conn, pgx.TraceQueryEndData) {}
func (c *trips) TraceBatchStart(ctx context.Context, _ *pgx.Conn, _ pgx.TraceBatchStartData) context.Context {
	c.batches++
	return ctx
}
func (*trips) TraceBatchQuery(context.Context, *pgx.Conn, pgx.TraceBatchQueryData) {}
func (*trips) TraceBatchEnd(context.Context, *pgx.Conn, pgx.TraceBatchEndData)     {}

// together runs f in a transaction on a table tries, and says what trips it took.
func together(t *testing.T, f func(tx pgx.Tx) error) (trips, error) {
	t.Helper()
	config, err := pgxpool.ParseConfig(testdb.URL(t))
	if err != nil {
		t.Fatal(err)
	}
	var count trips
	config.ConnConfig.Tracer = &count
	pool, err := pgxpool.NewWithConfig(t.Context(), config)
	if err != nil {
		t.Fatal(err)
	}
	defer pool.Close()
	if _, err := pool.Exec(t.Context(), `CREATE TABLE tries (n int PRIMARY KEY)`); err != nil {
		t.Fatal(err)
	}
	err = pgx.BeginFunc(t.Context(), pool, func(tx pgx.Tx) error {
		count = trips{}
		return f(tx)
	})
	return count, err
}

func TestTogetherAsksInOneRoundTrip(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	var seen []int
	var sum int
	count, err := together(t, func(tx pgx.Tx) error {
		err := database.Together(ctx, tx,
			func(tx pgx.Tx) error { // asks twice, the second time by the first answer
				tag, err := tx.Exec(ctx, `INSERT INTO tries SELECT generate_series(1, 3)`)
				if err != nil {
					return err
				}
				return tx.QueryRow(ctx, `SELECT sum(n) + $1 FROM tries`, tag.RowsAffected()).Scan(&sum)
			},
			func(tx pgx.Tx) error { // sees what was asked for before it
				rows, err := tx.Query(ctx, `SELECT n FROM tries ORDER BY n`)
				if err != nil {
					return err
				}
				seen, err = pgx.CollectRows(rows, pgx.RowTo[int])
				return err
			},
			func(pgx.Tx) error { return nil },
		)
		return err
	})
	if err != nil || !slices.Equal(seen, []int{1, 2, 3}) || sum != 9 {
		t.Errorf("saw %v and %d, %v", seen, sum, err)
	}
	// The commit is a query as well.
	if count.batches != 2 || count.queries > 1 {
		t.Errorf("%d batches and %d queries, want 2 and the commit", count.batches, count.queries)
	}
}

func TestTogetherFailsWithTheFirstError(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	mine := errors.New("mine")
	_, err := together(t, func(tx pgx.Tx) error {
		var n int
		err := database.Together(ctx, tx,
			func(tx pgx.Tx) error {
				if err := tx.QueryRow(ctx, `SELECT 1`).Scan(&n); err != nil {
					return err
				}
				return mine
			},
			func(tx pgx.Tx) error { return tx.QueryRow(ctx, `SELECT n FROM tries`).Scan(&n) },
		)
		if !errors.Is(err, mine) {
			t.Errorf("failed with %v", err)
		}
		err = database.Together(ctx, tx, func(tx pgx.Tx) error { return tx.QueryRow(ctx, `SELECT n FROM tries`).Scan(&n) })
		if !errors.Is(err, pgx.ErrNoRows) {
			t.Errorf("no row: %v", err)
		}
		err = database.Together(ctx, tx,
			func(tx pgx.Tx) error { _, err := tx.Exec(ctx, `SELECT 1/0`); return err },
			func(tx pgx.Tx) error { _, err := tx.Exec(ctx, `SELECT 1`); return err },
		)
		return err
	})
	var pg *pgconn.PgError
	if !errors.As(err, &pg) || pg.Code != "22012" {
		t.Errorf("failed with %v, want a division by zero", err)
	}
}
