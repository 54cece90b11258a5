package chemistry

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// A Because is why something is done that others will ask about.
type Because struct {
	Because string `json:"because"`
}

func (b Because) check() error {
	var fs faults
	fs.text("/because", b.Because, 500)
	return refuseFaults("", fs...)
}

// A QuarantineRecord is a quarantine of a bath, lifted or not.
type QuarantineRecord struct {
	Bath          string     `json:"bath"`
	Because       string     `json:"because"`
	By            string     `json:"by"`
	At            time.Time  `json:"at"`
	LiftedBecause *string    `json:"lifted_because,omitempty"`
	LiftedBy      *string    `json:"lifted_by,omitempty"`
	LiftedAt      *time.Time `json:"lifted_at,omitempty"`
}

// QuarantineBath keeps a bath, and with it its set, from plans, bookings and
// runs. It refuses with NotFound, invalid, stale, bath-dead, and
// bath-quarantined if it is kept already.
func QuarantineBath(ctx context.Context, tx pgx.Tx, s lab.Scope, bathID string, version int64, why Because) (Bath, error) {
	if err := why.check(); err != nil {
		return Bath{}, err
	}
	return changeBath(ctx, tx, s, bathID, version, func(b Bath) error {
		if b.Quarantine != nil {
			return lab.Refuse(lab.Conflict, "bath-quarantined", "the bath is in quarantine already: %s", b.Quarantine.Because)
		}
		_, err := tx.Exec(ctx, `
			INSERT INTO quarantines (lab_id, id, bath_id, because, imposed_by, imposed_at)
			VALUES ($1, new_id('quarantine', $2), $3, $4, $5, $2)`, s.Lab.ID, s.Now, bathID, why.Because, s.By.ID)
		return err
	})
}

// ReleaseBath lifts a bath's quarantine. It refuses with NotFound, invalid,
// stale, bath-dead, and bath-not-quarantined.
func ReleaseBath(ctx context.Context, tx pgx.Tx, s lab.Scope, bathID string, version int64, why Because) (Bath, error) {
	if err := why.check(); err != nil {
		return Bath{}, err
	}
	return changeBath(ctx, tx, s, bathID, version, func(b Bath) error {
		if b.Quarantine == nil {
			return lab.Refuse(lab.Conflict, "bath-not-quarantined", "the bath is not in quarantine")
		}
		_, err := tx.Exec(ctx, `
			UPDATE quarantines SET lifted_because = $3, lifted_by = $4, lifted_at = $5
			WHERE lab_id = $1 AND bath_id = $2 AND lifted_at IS NULL`, s.Lab.ID, bathID, why.Because, s.By.ID, s.Now)
		return err
	})
}

// StoreBath says how a bath is bottled from now on; what is left of its life
// goes at the new pace. It refuses with NotFound, invalid, stale and bath-dead.
func StoreBath(ctx context.Context, tx pgx.Tx, s lab.Scope, bathID string, version int64, to Storage) (Bath, error) {
	if err := refuseFaults("", to.Validate()...); err != nil {
		return Bath{}, err
	}
	return changeBath(ctx, tx, s, bathID, version, func(b Bath) error {
		_, err := tx.Exec(ctx, `UPDATE baths SET storage = $3, expires_at = $4 WHERE lab_id = $1 AND id = $2`,
			s.Lab.ID, bathID, to, b.Restored(b.ExpiresAt, s.Now, b.Storage, &to))
		return err
	})
}

// changeBath changes a bath that is not discarded, at a version.
func changeBath(ctx context.Context, tx pgx.Tx, s lab.Scope, bathID string, version int64, change func(Bath) error) (Bath, error) {
	if err := lab.Touch(ctx, tx, s.Lab.ID); err != nil {
		return Bath{}, err
	}
	b, err := lockBath(ctx, tx, s, bathID, version)
	if err != nil {
		return Bath{}, err
	}
	if b.DiscardedAt != nil {
		return Bath{}, lab.Refuse(lab.Conflict, "bath-dead", "the bath is discarded")
	}
	if err := change(b); err != nil {
		return Bath{}, fmt.Errorf("change bath: %w", err)
	}
	if _, err := tx.Exec(ctx, `UPDATE baths SET version = version + 1 WHERE lab_id = $1 AND id = $2`, s.Lab.ID, bathID); err != nil {
		return Bath{}, fmt.Errorf("change bath: %w", err)
	}
	return FindBath(ctx, tx, s.Lab.ID, bathID, s.Now)
}

// lockBath reads a bath at a version and holds its row. It refuses with
// NotFound and stale.
func lockBath(ctx context.Context, tx pgx.Tx, s lab.Scope, bathID string, version int64) (Bath, error) {
	b, err := oneBath(ctx, tx, s.Now, selectBaths+`AND b.id = $2 FOR NO KEY UPDATE OF b`, s.Lab.ID, bathID)
	switch {
	case err != nil:
		return Bath{}, err
	case b.Version != version:
		return Bath{}, lab.Refuse(lab.Stale, "stale", "the bath has changed since it was read")
	}
	return b, nil
}

// QuarantinesOf are all quarantines of the baths, oldest first.
func QuarantinesOf(ctx context.Context, tx pgx.Tx, labID string, baths []string) ([]QuarantineRecord, error) {
	rows, err := tx.Query(ctx, `
		SELECT bath_id, because, imposed_by, imposed_at, lifted_because, lifted_by, lifted_at
		FROM quarantines WHERE lab_id = $1 AND bath_id = ANY($2) ORDER BY id`, labID, baths)
	if err != nil {
		return nil, fmt.Errorf("read quarantines: %w", err)
	}
	all, err := pgx.CollectRows(rows, pgx.RowToStructByPos[QuarantineRecord])
	if err != nil {
		return nil, fmt.Errorf("read quarantines: %w", err)
	}
	return all, nil
}
