package lab

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"
)

const labColumns = `id, name, time_zone, currency, area_rule, developing_tolerance_permille,
	room_temperature_mc, heater_efficiency_permille, created_at, version, schedule_version`

// Find reads a lab. It refuses with NotFound.
func Find(ctx context.Context, tx pgx.Tx, id string) (Lab, error) {
	return findLab(ctx, tx, `SELECT `+labColumns+` FROM labs WHERE id = $1`, id)
}

// Lock reads a lab and holds its row until the transaction ends, so that those
// who change what is planned in one lab do it one after another, in one order.
// It refuses with NotFound.
func Lock(ctx context.Context, tx pgx.Tx, id string) (Lab, error) {
	return findLab(ctx, tx, `SELECT `+labColumns+` FROM labs WHERE id = $1 FOR NO KEY UPDATE`, id)
}

// Touch says that something planning depends on has changed: plans made
// before can no longer be committed. It locks the lab's row like Lock.
func Touch(ctx context.Context, tx pgx.Tx, id string) error {
	_, err := tx.Exec(ctx, `UPDATE labs SET schedule_version = schedule_version + 1 WHERE id = $1`, id)
	if err != nil {
		return fmt.Errorf("touch lab: %w", err)
	}
	return nil
}

func findLab(ctx context.Context, tx pgx.Tx, query, id string) (Lab, error) {
	rows, err := tx.Query(ctx, query, id)
	if err != nil {
		return Lab{}, fmt.Errorf("find lab: %w", err)
	}
	l, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[Lab])
	if errors.Is(err, pgx.ErrNoRows) {
		return Lab{}, ErrNoLab()
	}
	if err != nil {
		return Lab{}, fmt.Errorf("find lab: %w", err)
	}
	return l, nil
}

// ErrNoLab is the refusal for a lab that is not there, or not for the caller.
func ErrNoLab() error { return Refuse(NotFound, "not-found", "there is no such lab") }

// IDs are the ids of all labs, for rounds that are made of every one.
func IDs(ctx context.Context, tx pgx.Tx) ([]string, error) {
	rows, err := tx.Query(ctx, `SELECT id FROM every_lab('', 9223372036854775807) ORDER BY id`)
	if err != nil {
		return nil, fmt.Errorf("list labs: %w", err)
	}
	return pgx.CollectRows(rows, pgx.RowTo[string])
}
