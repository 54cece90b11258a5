package shares

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// A Gift is a roll that the fund pays for.
type Gift struct {
	Roll    string    `json:"roll"`
	Reason  string    `json:"reason"`
	GivenBy string    `json:"given_by"`
	GivenAt time.Time `json:"given_at"`
}

// A NewGift says why a roll is free.
type NewGift struct {
	Reason string `json:"reason"`
}

// GiveRoll makes a roll free, so that the fund pays for it. A roll that was
// run already is charged by its run; reverse that and charge it anew. It
// refuses with NotFound, "roll-already-charged" and "roll-already-free".
func GiveRoll(ctx context.Context, tx pgx.Tx, s lab.Scope, roll string, in NewGift) (Gift, error) {
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return Gift{}, err
	}
	var charged bool
	err := tx.QueryRow(ctx, `
		SELECT EXISTS (SELECT FROM postings p
			JOIN entries e ON e.lab_id = p.lab_id AND e.id = p.entry_id AND e.kind = 'run_charge'
			WHERE p.lab_id = r.lab_id AND p.roll_id = r.id
			AND NOT EXISTS (SELECT FROM entries u WHERE u.lab_id = e.lab_id AND u.reverses = e.id))
		FROM rolls r WHERE r.lab_id = $1 AND r.id = $2`, s.Lab.ID, roll).Scan(&charged)
	switch {
	case errors.Is(err, pgx.ErrNoRows):
		return Gift{}, lab.Refuse(lab.NotFound, "not-found", "there is no such roll")
	case err != nil:
		return Gift{}, fmt.Errorf("give roll: %w", err)
	case charged:
		return Gift{}, lab.Refuse(lab.Conflict, "roll-already-charged", "the roll is charged; reverse its run's charge first, and charge the run anew")
	}
	_, err = tx.Exec(ctx, `INSERT INTO free_rolls (lab_id, roll_id, reason, given_by, given_at) VALUES ($1, $2, $3, $4, $5)`,
		s.Lab.ID, roll, in.Reason, s.By.ID, s.Now)
	if lab.Violates(err, lab.UniqueViolation, "free_rolls_pkey") {
		return Gift{}, lab.Refuse(lab.Conflict, "roll-already-free", "the roll is free already")
	}
	if err != nil {
		return Gift{}, fmt.Errorf("give roll: %w", err)
	}
	return Gift{Roll: roll, Reason: in.Reason, GivenBy: s.By.ID, GivenAt: s.Now}, nil
}

// markFree says which of the rolls are free.
func markFree(ctx context.Context, tx pgx.Tx, labID string, rolls []RollUse) error {
	ids := make([]string, len(rolls))
	at := map[string]int{}
	for i, u := range rolls {
		ids[i], at[u.Roll] = u.Roll, i
	}
	rows, err := tx.Query(ctx, `SELECT roll_id FROM free_rolls WHERE lab_id = $1 AND roll_id = ANY ($2)`, labID, ids)
	if err != nil {
		return fmt.Errorf("free rolls: %w", err)
	}
	free, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return fmt.Errorf("free rolls: %w", err)
	}
	for _, roll := range free {
		rolls[at[roll]].Free = true
	}
	return nil
}
