package shares

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
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
	// Free is a roll that the fund pays for.
	Free bool
}

// ChargeRun charges a finished run to the members whose rolls were in it: the
// run's part of the kit's price by the rated area, rounded half up, is
// apportioned to the rolls by area, debited to each roll's member (of a free
// roll, to the fund) and credited to the kit. This is provisional; closing the
// kit corrects it. A roll so small that it costs nothing is entered all the
// same, for closing goes by the areas in the books. Where the lab rules a
// surcharge, an entry of its own debits it to the same by area and credits the
// fund; that is final.
//
// Spoiled runs are not charged: they are not to be given to ChargeRun. It
// refuses with NotFound, "kit-closed", "month-closed" or, the second time,
// "run-already-charged"; after the last two the transaction is good for nothing.
func ChargeRun(ctx context.Context, tx pgx.Tx, s lab.Scope, r Run) error {
	kit, err := lockOpen(ctx, tx, s.Lab.ID, r.Kit)
	if err != nil {
		return err
	}
	if err := markFree(ctx, tx, s.Lab.ID, r.Rolls); err != nil {
		return err
	}
	charge, err := chargeEntry(kit, r)
	if err != nil {
		return fmt.Errorf("charge run %s: %w", r.ID, err)
	}
	if _, err = post(ctx, tx, s, charge); err != nil {
		if lab.Violates(err, lab.UniqueViolation, "entries_run_once") {
			return lab.Refuse(lab.Conflict, "run-already-charged", "the run has been charged already")
		}
		return err
	}
	return surcharge(ctx, tx, s, kit, r)
}

// chargeEntry is what a run costs each roll's owner by the kit's rated price.
func chargeEntry(kit chemistry.Kit, r Run) (Entry, error) {
	area := r.area()
	terms := Terms{Price: kit.Price.Amount, RatedAreaMM2: kit.Portions * kit.RatedAreaMM2, Rule: ByArea, UnusedFallsOn: Fund}
	charge, err := terms.Rate(area)
	if err != nil {
		return Entry{}, err
	}
	e := Entry{
		Kind: RunCharge, Text: "Developed on: " + kit.Name, Kit: kit.ID, Run: r.ID,
		Basis: Basis{Charge: &ChargeBasis{
			PriceMinor: terms.Price, RatedAreaMM2: terms.RatedAreaMM2, AreaMM2: area, ChargeMinor: charge,
		}},
	}
	if e.Postings, err = r.byArea(charge); err != nil {
		return Entry{}, err
	}
	e.Postings = append(e.Postings, onKit(kit.ID, -charge))
	return e, nil
}

func (r Run) area() (area int64) {
	for _, u := range r.Rolls {
		area += u.AreaMM2
	}
	return area
}

// byArea debits an amount to the rolls' owners by area, a line for each roll.
func (r Run) byArea(amount int64) ([]Posting, error) {
	weights := make([]int64, len(r.Rolls))
	for i, u := range r.Rolls {
		weights[i] = u.AreaMM2
	}
	parts, err := Apportion(amount, weights)
	if err != nil {
		return nil, err
	}
	postings := make([]Posting, len(r.Rolls))
	for i, u := range r.Rolls {
		owner := u.Member
		if u.Free {
			owner = ""
		}
		postings[i] = onParty(owner, parts[i])
		postings[i].Roll, postings[i].AreaMM2 = u.Roll, u.AreaMM2
	}
	return postings, nil
}

// surcharge enters what the lab has each run cost beside its chemistry. A
// charge made anew has it in the books already.
func surcharge(ctx context.Context, tx pgx.Tx, s lab.Scope, kit chemistry.Kit, r Run) error {
	rules, err := ReadMoneyRules(ctx, tx, s.Lab.ID)
	if err != nil || rules.SurchargeMinor == 0 {
		return err
	}
	var there bool
	err = tx.QueryRow(ctx, `SELECT EXISTS (SELECT FROM entries WHERE lab_id = $1 AND run_id = $2 AND kind = 'surcharge')`,
		s.Lab.ID, r.ID).Scan(&there)
	if err != nil || there {
		return err
	}
	e := Entry{
		Kind: RunSurcharge, Text: "Water, power and wear of a run", Kit: kit.ID, Run: r.ID,
		Basis: Basis{Surcharge: &SurchargeBasis{SurchargeMinor: rules.SurchargeMinor, AreaMM2: r.area()}},
	}
	if e.Postings, err = r.byArea(rules.SurchargeMinor); err != nil {
		return err
	}
	e.Postings = append(e.Postings, onParty("", -rules.SurchargeMinor))
	_, err = post(ctx, tx, s, e)
	return err
}

// ChargeAnew charges a run whose charge was reversed, as it stands now: with
// the rolls that were made free since, and the price that holds now. It
// refuses with NotFound, "kit-closed", and "run-already-charged" where the
// charge still stands.
func ChargeAnew(ctx context.Context, tx pgx.Tx, s lab.Scope, runID string) (Entry, error) {
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return Entry{}, err
	}
	r := Run{ID: runID}
	var area string
	err := tx.QueryRow(ctx, `
		SELECT b.kit_id, l.area_rule FROM runs r
		JOIN batches b ON b.lab_id = r.lab_id AND b.id = r.batch_id
		JOIN labs l ON l.id = r.lab_id
		WHERE r.lab_id = $1 AND r.id = $2 AND r.outcome = 'done'`, s.Lab.ID, runID).Scan(&r.Kit, &area)
	if errors.Is(err, pgx.ErrNoRows) {
		return Entry{}, lab.Refuse(lab.NotFound, "not-found", "there is no such finished run")
	}
	if err != nil {
		return Entry{}, fmt.Errorf("find run: %w", err)
	}
	rows, err := tx.Query(ctx, `
		SELECT p.roll_id, f.member_id, p.area_mm2, false
		FROM entries e
		JOIN postings p ON p.lab_id = e.lab_id AND p.entry_id = e.id AND p.roll_id IS NOT NULL
		JOIN rolls f ON f.lab_id = p.lab_id AND f.id = p.roll_id
		WHERE e.lab_id = $1 AND e.run_id = $2 AND e.kind = 'run_charge' AND e.nth = 1
		ORDER BY p.line`, s.Lab.ID, runID)
	if err != nil {
		return Entry{}, fmt.Errorf("rolls of run: %w", err)
	}
	if r.Rolls, err = pgx.CollectRows(rows, pgx.RowToStructByPos[RollUse]); err != nil {
		return Entry{}, fmt.Errorf("rolls of run: %w", err)
	}
	if err := ChargeRun(ctx, tx, s, r); err != nil {
		return Entry{}, err
	}
	charges, err := readEntries(ctx, tx, `e.run_id = $2 AND e.kind = 'run_charge' ORDER BY e.nth DESC LIMIT 1`, s.Lab.ID, runID)
	if err != nil {
		return Entry{}, fmt.Errorf("find charge: %w", err)
	}
	return charges[0], nil
}
