package shares

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// A Run is what was developed on one kit in one finished run.
type Run struct {
	ID    string
	Kit   string
	Rolls []RollUse
}

// A RollUse is one member's roll in a run, with the area that counts in the lab.
type RollUse struct {
	Roll, Member string
	AreaMM2      int64
}

// ChargeRun charges a finished run to the members whose rolls were in it: the
// run's part of the kit's price by the rated area, rounded half up, is
// apportioned to the rolls by area, debited to each roll's member and credited
// to the kit. This is provisional; closing the kit corrects it. A roll so small
// that it costs nothing is entered all the same, for closing goes by the areas
// in the books.
//
// Spoiled runs are not charged: they are not to be given to ChargeRun. It
// refuses with NotFound, "kit-closed" or, the second time, "run-already-charged",
// after which the transaction is good for nothing.
func ChargeRun(ctx context.Context, tx pgx.Tx, s lab.Scope, r Run) error {
	kit, err := lockOpen(ctx, tx, s.Lab.ID, r.Kit)
	if err != nil {
		return err
	}
	var area int64
	weights := make([]int64, len(r.Rolls))
	for i, u := range r.Rolls {
		weights[i] = u.AreaMM2
		area += u.AreaMM2
	}
	charge, err := termsOf(kit).Rate(area)
	if err != nil {
		return fmt.Errorf("charge run %s: %w", r.ID, err)
	}
	parts, err := Apportion(charge, weights)
	if err != nil {
		return fmt.Errorf("charge run %s: %w", r.ID, err)
	}
	e := Entry{Kind: RunCharge, Text: "Developed on: " + kit.Name, Kit: kit.ID, Run: r.ID}
	for i, u := range r.Rolls {
		e.Postings = append(e.Postings, Posting{
			Account: MemberAccount, Member: u.Member, Roll: u.Roll, AreaMM2: u.AreaMM2, Amount: parts[i],
		})
	}
	e.Postings = append(e.Postings, onKit(kit.ID, -charge))
	_, err = post(ctx, tx, s, e)
	if lab.Violates(err, lab.UniqueViolation, "entries_run_once") {
		return lab.Refuse(lab.Conflict, "run-already-charged", "the run has been charged already")
	}
	return err
}
