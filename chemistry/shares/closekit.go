package shares

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
	"wetside/lab/units"
)

// A ClosingAnswer is how a kit's price was shared, and the entry that says so.
type ClosingAnswer struct {
	Kit     string                  `json:"kit"`
	Because chemistry.ClosedBecause `json:"because"`
	Price   units.Money             `json:"price"`
	Closing
	Entry string `json:"entry"`
}

// CloseKit closes a kit that is used up, expired or thrown away, shares its
// whole price as Close says, and enters for each member and the fund what
// their share differs by from what they were charged before; then the kit's
// account is zero. Finished runs count by the areas they were charged by,
// spoiled ones by the run's, and a run whose charge was reversed like a spoiled one.
//
// It refuses with NotFound, "kit-closed", "kit-has-open-batches" while a batch
// is planned on the kit, and as chemistry.MarkKitClosed does.
func CloseKit(
	ctx context.Context, tx pgx.Tx, s lab.Scope, kitID string, because chemistry.ClosedBecause,
) (ClosingAnswer, error) {
	// Plans are committed under the lab's lock: from here on no batch can be planned on the kit.
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return ClosingAnswer{}, err
	}
	kit, err := lockOpen(ctx, tx, s.Lab.ID, kitID)
	if err != nil {
		return ClosingAnswer{}, err
	}
	if err := refuseOpenBatches(ctx, tx, s.Lab.ID, kitID); err != nil {
		return ClosingAnswer{}, err
	}
	uses, err := readUses(ctx, tx, s.Lab.ID, kitID)
	if err != nil {
		return ClosingAnswer{}, err
	}
	closing, err := Close(termsOf(kit), uses)
	if err != nil {
		return ClosingAnswer{}, fmt.Errorf("close kit %s: %w", kitID, err)
	}
	provisional, open, err := readProvisional(ctx, tx, s.Lab.ID, kitID)
	if err != nil {
		return ClosingAnswer{}, err
	}
	closing = closing.Against(provisional)
	e := Entry{Kind: FinalCost, Text: "Final shares of: " + kit.Name, Kit: kitID}
	// A share that was charged to the unit before is entered too: its owner sees that it is final.
	for _, share := range closing.Shares {
		e.Postings = append(e.Postings, onParty(share.Member, share.Adjustment))
		open -= share.Adjustment
	}
	if open != 0 {
		return ClosingAnswer{}, fmt.Errorf("close kit %s: its account would be left with %d", kitID, open)
	}
	e.Postings = append(e.Postings, onKit(kitID, -sum(e.Postings)))
	entry, err := post(ctx, tx, s, e)
	if err != nil {
		return ClosingAnswer{}, err
	}
	if _, err := chemistry.MarkKitClosed(ctx, tx, s, kitID, because); err != nil {
		return ClosingAnswer{}, err
	}
	return ClosingAnswer{Kit: kitID, Because: because, Price: kit.Price, Closing: closing, Entry: entry}, nil
}

func sum(postings []Posting) (total int64) {
	for _, p := range postings {
		total += p.Amount
	}
	return total
}

func refuseOpenBatches(ctx context.Context, tx pgx.Tx, labID, kitID string) error {
	var planned int64
	err := tx.QueryRow(ctx, `
		SELECT count(*) FROM batches WHERE lab_id = $1 AND kit_id = $2 AND status = 'planned'`,
		labID, kitID).Scan(&planned)
	if err != nil {
		return fmt.Errorf("batches of kit: %w", err)
	}
	if planned > 0 {
		return lab.Refuse(lab.Conflict, "kit-has-open-batches",
			"%d planned batches are to run on the kit: run or cancel them first", planned)
	}
	return nil
}

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
		SELECT p.member_id, p.area_mm2, u.id IS NOT NULL
		FROM entries e
		JOIN postings p ON p.lab_id = e.lab_id AND p.entry_id = e.id AND p.account = 'member'
		LEFT JOIN entries u ON u.lab_id = e.lab_id AND u.reverses = e.id
		WHERE e.lab_id = $1 AND e.kit_id = $2 AND e.kind = 'run_charge'
		UNION ALL
		SELECT '', r.area_mm2, true
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
		JOIN postings p ON p.lab_id = e.lab_id AND p.entry_id = e.id
		WHERE e.lab_id = $1 AND e.kit_id = $2 AND (p.account = 'kit' OR e.kind <> 'purchase')
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
