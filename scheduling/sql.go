package scheduling

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// many runs a query and scans every row by position into T.
func many[T any](ctx context.Context, tx pgx.Tx, what, query string, args ...any) ([]T, error) {
	rows, err := tx.Query(ctx, query, args...)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", what, err)
	}
	items, err := pgx.CollectRows(rows, pgx.RowToStructByPos[T])
	if err != nil {
		return nil, fmt.Errorf("%s: %w", what, err)
	}
	return items, nil
}

// one is many for exactly one row; it refuses with NotFound, naming what.
func one[T any](ctx context.Context, tx pgx.Tx, what, query string, args ...any) (T, error) {
	items, err := many[T](ctx, tx, what, query, args...)
	if err != nil {
		var none T
		return none, err
	}
	if len(items) == 0 {
		var none T
		return none, lab.Refuse(lab.NotFound, "not-found", "there is no such %s", what)
	}
	return items[0], nil
}

// at points a NotFound refusal, for an id that came in the body, to its field.
func at(pointer string, err error) error {
	var no *lab.Refusal
	if !errors.As(err, &no) || no.Kind != lab.NotFound || len(no.Faults) > 0 {
		return err
	}
	return no.With(pointer, "unknown", "%s", no.Detail)
}

// stale is the refusal of a change to a version that is no longer the newest.
func stale(what string) error {
	return lab.Refuse(lab.Stale, "stale", "the %s has changed since you read it; read it again", what)
}
