package shares

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"
)

// readUses is all that runs have taken of a kit. A finished run that is not in
// the books, which recording it does not allow, is an error.
func readUses(ctx context.Context, tx pgx.Tx, labID, kitID string) ([]Use, error) {
	var uncharged int64
	err := tx.QueryRow(ctx, `
		SELECT count(*)
		FROM runs r
		JOIN batches b ON b.lab_id = r.lab_id AND b.id = r.batch_id
		WHERE r.lab_id = $1 AND b.kit_id = $2 AND r.outcome = 'done' AND NOT EXISTS (
			SELECT FROM entries e
			WHERE e.lab_id = r.lab_id AND e.run_id = r.id AND e.kit_id = b.kit_id AND e.kind = 'run_charge')`,
		labID, kitID).Scan(&uncharged)
	if err != nil {
		return nil, fmt.Errorf("uncharged runs of kit: %w", err)
	}
	if uncharged > 0 {
		return nil, fmt.Errorf("kit %s: %d finished runs were never charged", kitID, uncharged)
	}
	rows, err := tx.Query(ctx, `
		SELECT coalesce(p.member_id, ''), p.area_mm2, u.id IS NOT NULL, p.account = 'fund'
		FROM entries e
		JOIN postings p ON p.lab_id = e.lab_id AND p.entry_id = e.id AND p.account <> 'kit'
		LEFT JOIN entries u ON u.lab_id = e.lab_id AND u.reverses = e.id
		WHERE e.lab_id = $1 AND e.kit_id = $2 AND e.kind = 'run_charge'
		-- Of a run that was charged anew, the charge that was taken back does not count.
		AND NOT EXISTS (SELECT FROM entries later
			WHERE later.lab_id = e.lab_id AND later.run_id = e.run_id AND later.kind = 'run_charge' AND later.nth > e.nth)
		UNION ALL
		SELECT '', r.area_mm2, true, false
		FROM runs r
		JOIN batches b ON b.lab_id = r.lab_id AND b.id = r.batch_id
		WHERE r.lab_id = $1 AND b.kit_id = $2 AND r.outcome = 'spoiled'`, labID, kitID)
	if err != nil {
		return nil, fmt.Errorf("uses of kit: %w", err)
	}
	uses, err := pgx.CollectRows(rows, pgx.RowToStructByPos[Use])
	if err != nil {
		return nil, fmt.Errorf("uses of kit: %w", err)
	}
	return uses, nil
}

// readProvisional is what each member has been charged for a kit so far, and
// what is open on the kit's own account.
func readProvisional(ctx context.Context, tx pgx.Tx, labID, kitID string) (charged map[string]int64, open int64, err error) {
	rows, err := tx.Query(ctx, `
		SELECT p.account, coalesce(p.member_id, ''), sum(p.amount_minor)::bigint
		FROM entries e
		LEFT JOIN entries undone ON undone.lab_id = e.lab_id AND undone.id = e.reverses
		JOIN postings p ON p.lab_id = e.lab_id AND p.entry_id = e.id
		WHERE e.lab_id = $1 AND e.kit_id = $2
		AND (p.account = 'kit' OR coalesce(undone.kind, e.kind) IN ('run_charge', 'closing'))
		GROUP BY p.account, p.member_id`, labID, kitID)
	if err != nil {
		return nil, 0, fmt.Errorf("charges of kit: %w", err)
	}
	charged = map[string]int64{}
	var account Account
	var member string
	var amount int64
	_, err = pgx.ForEachRow(rows, []any{&account, &member, &amount}, func() error {
		if account == OwnKit {
			open = amount
		} else {
			charged[member] = amount
		}
		return nil
	})
	if err != nil {
		return nil, 0, fmt.Errorf("charges of kit: %w", err)
	}
	return charged, open, nil
}
