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
// is planned on the kit, "kit-not-bought" while its purchase is not in the
// books, "terms-change-open" while sharers have yet to consent to another
// rule, and as chemistry.MarkKitClosed does.
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
	if err := refuseUnready(ctx, tx, s.Lab.ID, kitID); err != nil {
		return ClosingAnswer{}, err
	}
	closing, open, err := closingOf(ctx, tx, s.Lab.ID, kit)
	if err != nil {
		return ClosingAnswer{}, err
	}
	e := closingEntry(kit, closing)
	if open += e.Postings[len(e.Postings)-1].Amount; open != 0 {
		return ClosingAnswer{}, fmt.Errorf("close kit %s: its account would be left with %d", kitID, open)
	}
	entry, err := post(ctx, tx, s, e)
	if err != nil {
		return ClosingAnswer{}, err
	}
	if _, err := chemistry.MarkKitClosed(ctx, tx, s, kitID, because); err != nil {
		return ClosingAnswer{}, err
	}
	if err := tellClosing(ctx, tx, s, kitID, kit.Name, closing); err != nil {
		return ClosingAnswer{}, err
	}
	return ClosingAnswer{Kit: kitID, Because: because, Price: kit.Price, Closing: closing, Entry: entry}, nil
}

// closingOf is how a kit's price would be shared now, against what was charged,
// and what is open on its account.
func closingOf(ctx context.Context, tx pgx.Tx, labID string, kit chemistry.Kit) (c Closing, open int64, err error) {
	terms, err := readTerms(ctx, tx, labID, kit)
	if err != nil {
		return Closing{}, 0, err
	}
	uses, err := readUses(ctx, tx, labID, kit.ID)
	if err != nil {
		return Closing{}, 0, err
	}
	if c, err = Close(terms, uses); err != nil {
		return Closing{}, 0, fmt.Errorf("close kit %s: %w", kit.ID, err)
	}
	provisional, open, err := readProvisional(ctx, tx, labID, kit.ID)
	return c.Against(provisional), open, err
}

// closingEntry enters for each share what it differs by from what was charged
// before, and the rest on the kit's own account, last. A share that was charged
// to the unit before is entered too: its owner sees that it is final.
func closingEntry(kit chemistry.Kit, c Closing) Entry {
	e := Entry{Kind: FinalCost, Text: "Final shares " + c.Rule.words() + ", unused on the " + string(c.UnusedFallsOn) + ": " + kit.Name, Kit: kit.ID, Basis: Basis{Closing: &c}}
	for _, share := range c.Shares {
		e.Postings = append(e.Postings, onParty(share.Member, share.Adjustment))
	}
	e.Postings = append(e.Postings, onKit(kit.ID, -sum(e.Postings)))
	return e
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

// refuseUnready refuses to close a kit that nobody has bought yet, or whose rule may change yet.
func refuseUnready(ctx context.Context, tx pgx.Tx, labID, kitID string) error {
	var bought, changing bool
	err := tx.QueryRow(ctx, `
		SELECT EXISTS (SELECT FROM entries e
			WHERE e.lab_id = $1 AND e.kit_id = $2 AND e.kind = 'purchase'
			AND NOT EXISTS (SELECT FROM entries r WHERE r.lab_id = e.lab_id AND r.reverses = e.id)),
		EXISTS (SELECT FROM terms_changes WHERE lab_id = $1 AND kit_id = $2 AND applied_at IS NULL AND withdrawn_at IS NULL)`,
		labID, kitID).Scan(&bought, &changing)
	switch {
	case err != nil:
		return fmt.Errorf("purchase of kit: %w", err)
	case !bought:
		return lab.Refuse(lab.Conflict, "kit-not-bought", "what the kit cost is not in the books yet: enter its purchase first")
	case changing:
		return lab.Refuse(lab.Conflict, "terms-change-open", "sharers have yet to consent to another rule: withdraw the change or wait for them")
	}
	return nil
}
