package shares

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// maxText bounds what is written on an entry, in characters.
const maxText = 500

// A NewReversal says why an entry is undone.
type NewReversal struct {
	Reason string `json:"reason"`
}

// Reverse undoes an entry by another of the opposite amounts, and gives that.
// Film whose charge is reversed still used the kit up: closing counts the run
// like a spoiled one until it is charged anew. A reversed closing opens the
// kit again; a reversed purchase lets another be entered, by way of which a
// price is corrected; a reversed payment was not made.
//
// It refuses with NotFound, Invalid for a reason that is missing or too long,
// "reversal-of-reversal", "kit-closed" where the kit's closing has to be
// reversed first, "month-closed" and, the second time, "already-reversed",
// after which the transaction is good for nothing.
func Reverse(ctx context.Context, tx pgx.Tx, s lab.Scope, entryID, reason string) (Entry, error) {
	if n := len([]rune(reason)); n == 0 || n > maxText {
		return Entry{}, lab.Refuse(lab.Invalid, "invalid", "a reversal says why").
			With("/reason", "length", "want 1 to %d characters", maxText)
	}
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return Entry{}, err
	}
	e, err := FindEntry(ctx, tx, s.Lab.ID, entryID)
	if err != nil {
		return Entry{}, err
	}
	if e.Kind == Reversal {
		return Entry{}, lab.Refuse(lab.Conflict, "reversal-of-reversal", "a reversal stands: enter what is right anew instead")
	}
	id, err := post(ctx, tx, s, reversalOf(e, reason))
	if lab.Violates(err, lab.UniqueViolation, "entries_reversed_once") {
		return Entry{}, lab.Refuse(lab.Conflict, "already-reversed", "the entry has been reversed already")
	}
	if err != nil {
		return Entry{}, err
	}
	if err := undo(ctx, tx, s, e); err != nil {
		return Entry{}, err
	}
	return FindEntry(ctx, tx, s.Lab.ID, id)
}

// reversalOf is the entry of the opposite amounts.
func reversalOf(e Entry, reason string) Entry {
	back := Entry{Kind: Reversal, Text: reason, Kit: e.Kit, Run: e.Run, Payment: e.Payment, Reverses: e.ID}
	for _, p := range e.Postings {
		p.Amount = -p.Amount
		back.Postings = append(back.Postings, p)
	}
	return back
}

// undo takes back what an entry stands for outside the books.
func undo(ctx context.Context, tx pgx.Tx, s lab.Scope, e Entry) error {
	var err error
	switch e.Kind {
	case FinalCost:
		_, err = tx.Exec(ctx, `
			UPDATE kits SET closed_at = NULL, closed_because = NULL, version = version + 1
			WHERE lab_id = $1 AND id = $2`, s.Lab.ID, e.Kit)
		if err == nil {
			err = lab.Touch(ctx, tx, s.Lab.ID)
		}
	case Purchase:
		if _, err = lockOpen(ctx, tx, s.Lab.ID, e.Kit); err != nil {
			return err
		}
		_, err = tx.Exec(ctx, `UPDATE kit_terms SET buyers = '[]', version = version + 1 WHERE lab_id = $1 AND kit_id = $2`, s.Lab.ID, e.Kit)
	case RunCharge:
		_, err = lockOpen(ctx, tx, s.Lab.ID, e.Kit)
		return err
	case Paid:
		_, err = tx.Exec(ctx, `
			UPDATE payments SET state = 'reversed', version = version + 1
			WHERE lab_id = $1 AND id = $2`, s.Lab.ID, e.Payment)
	}
	if err != nil {
		return fmt.Errorf("undo %s: %w", e.Kind, err)
	}
	return nil
}

// FindEntry reads an entry. It refuses with NotFound.
func FindEntry(ctx context.Context, tx pgx.Tx, labID, id string) (Entry, error) {
	found, err := readEntries(ctx, tx, `e.id = $2`, labID, id)
	if err != nil {
		return Entry{}, fmt.Errorf("find entry: %w", err)
	}
	if len(found) == 0 {
		return Entry{}, lab.Refuse(lab.NotFound, "not-found", "there is no such entry")
	}
	if len(found) > 1 {
		return Entry{}, errors.New("find entry: more than one")
	}
	return found[0], nil
}
