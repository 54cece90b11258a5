package shares

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// maxText bounds what is written on an entry, in bytes.
const maxText = 500

// Reverse undoes the charge of a run by an entry of the opposite amounts, and
// returns its id. The film still used the kit up: closing counts the run like a
// spoiled one. What a kit cost and its final shares are not reversed, for the
// kit could not be bought or closed again.
//
// It refuses with NotFound, Invalid for a text that is missing or too long,
// "not-reversible" for another kind of entry, "kit-closed" and, the second
// time, "already-reversed", after which the transaction is good for nothing.
func Reverse(ctx context.Context, tx pgx.Tx, s lab.Scope, entryID, text string) (string, error) {
	if len(text) == 0 || len(text) > maxText {
		return "", lab.Refuse(lab.Invalid, "invalid", "a reversal says why").
			With("/text", "length", "want 1 to %d bytes", maxText)
	}
	e, err := findEntry(ctx, tx, s.Lab.ID, entryID)
	if err != nil {
		return "", err
	}
	if e.Kind != RunCharge {
		return "", lab.Refuse(lab.Conflict, "not-reversible", "only the charge of a run can be reversed, not a %s", e.Kind)
	}
	if _, err := lockOpen(ctx, tx, s.Lab.ID, e.Kit); err != nil {
		return "", err
	}
	back := Entry{Kind: Reversal, Text: text, Kit: e.Kit, Run: e.Run, Reverses: e.ID}
	for _, p := range e.Postings {
		p.Amount = -p.Amount
		back.Postings = append(back.Postings, p)
	}
	id, err := post(ctx, tx, s, back)
	if lab.Violates(err, lab.UniqueViolation, "entries_reversed_once") {
		return "", lab.Refuse(lab.Conflict, "already-reversed", "the entry has been reversed already")
	}
	return id, err
}

func findEntry(ctx context.Context, tx pgx.Tx, labID, id string) (Entry, error) {
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
