package shares

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
)

// ListChanges reads the changes of a kit's terms, oldest first, with who
// consented to each. It refuses with NotFound.
func ListChanges(ctx context.Context, tx pgx.Tx, labID, kitID string, p lab.Page) (lab.List[TermsChange], error) {
	if _, err := chemistry.FindKit(ctx, tx, labID, kitID); err != nil {
		return lab.List[TermsChange]{}, err
	}
	changes, err := readChanges(ctx, tx, `id > $3 ORDER BY id LIMIT $4`, labID, kitID, p.After, p.Limit+1)
	if err != nil {
		return lab.List[TermsChange]{}, err
	}
	return lab.Cut(changes, p, func(c TermsChange) string { return c.ID }), nil
}

// openChange reads the change of a kit that waits for consent, or nil.
func openChange(ctx context.Context, tx pgx.Tx, labID, kitID string) (*TermsChange, error) {
	changes, err := readChanges(ctx, tx, `applied_at IS NULL AND withdrawn_at IS NULL`, labID, kitID)
	if err != nil || len(changes) == 0 {
		return nil, err
	}
	return &changes[0], nil
}

// readChanges reads those changes of the lab's ($1) kit ($2) that the rest of the query picks.
func readChanges(ctx context.Context, tx pgx.Tx, rest string, args ...any) ([]TermsChange, error) {
	rows, err := tx.Query(ctx, `
		SELECT id, kit_id, share_rule, unused_falls_on, spoiled_falls_on, reason, proposed_by, proposed_at, applied_at, withdrawn_at
		FROM terms_changes WHERE lab_id = $1 AND kit_id = $2 AND `+rest, args...)
	if err != nil {
		return nil, fmt.Errorf("read changes of terms: %w", err)
	}
	changes, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (c TermsChange, err error) {
		err = row.Scan(&c.ID, &c.Kit, &c.ShareRule, &c.UnusedFallsOn, &c.SpoiledFallsOn, &c.Reason,
			&c.ProposedBy, &c.ProposedAt, &c.AppliedAt, &c.WithdrawnAt)
		return c, err
	})
	if err != nil {
		return nil, fmt.Errorf("read changes of terms: %w", err)
	}
	for i := range changes {
		if err := readConsents(ctx, tx, args[0].(string), &changes[i]); err != nil {
			return nil, err
		}
	}
	return changes, nil
}

// readConsents reads who consented to a change and, while it is open, who is
// waited for: those who used the kit, as the books have it now, and subscribe to it.
func readConsents(ctx context.Context, tx pgx.Tx, labID string, c *TermsChange) error {
	c.Waiting = []string{}
	rows, err := tx.Query(ctx, `
		SELECT member_id, recorded_by, note, at FROM consents WHERE lab_id = $1 AND change_id = $2 ORDER BY at, member_id`, labID, c.ID)
	if err != nil {
		return fmt.Errorf("read consents: %w", err)
	}
	if c.Consents, err = pgx.CollectRows(rows, pgx.RowToStructByPos[Consent]); err != nil {
		return fmt.Errorf("read consents: %w", err)
	}
	if c.AppliedAt != nil || c.WithdrawnAt != nil {
		return nil
	}
	rows, err = tx.Query(ctx, `
		SELECT member FROM (
			SELECT p.member_id AS member FROM entries e
			JOIN postings p ON p.lab_id = e.lab_id AND p.entry_id = e.id AND p.account = 'member'
			WHERE e.lab_id = $1 AND e.kit_id = $2 AND e.kind = 'run_charge'
			UNION SELECT member_id FROM subscriptions WHERE lab_id = $1 AND kit_id = $2
			EXCEPT SELECT member_id FROM consents WHERE lab_id = $1 AND change_id = $3) AS sharers
		ORDER BY member`, labID, c.Kit, c.ID)
	if err != nil {
		return fmt.Errorf("read sharers: %w", err)
	}
	if c.Waiting, err = pgx.CollectRows(rows, pgx.RowTo[string]); err != nil {
		return fmt.Errorf("read sharers: %w", err)
	}
	return nil
}
