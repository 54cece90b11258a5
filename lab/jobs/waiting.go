package jobs

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"
)

// A Waiting is how many jobs of one kind wait in one state: available ones are
// due, scheduled ones come later, retryable ones failed and are tried again.
type Waiting struct {
	Kind, State string
	Jobs        int64
}

// Querier reads: a pool, or a transaction.
type Querier interface {
	Query(ctx context.Context, sql string, args ...any) (pgx.Rows, error)
}

// Backlog is what waits in all labs, by kind and state.
func Backlog(ctx context.Context, db Querier) ([]Waiting, error) {
	rows, err := db.Query(ctx, `SELECT kind, state::text, count(*) FROM river_job
		WHERE state IN ('available', 'scheduled', 'retryable') GROUP BY kind, state ORDER BY kind, state`)
	if err != nil {
		return nil, fmt.Errorf("count jobs: %w", err)
	}
	found, err := pgx.CollectRows(rows, pgx.RowToStructByPos[Waiting])
	if err != nil {
		return nil, fmt.Errorf("count jobs: %w", err)
	}
	return found, nil
}
