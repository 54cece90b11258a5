package shares

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// WriteOff has the fund bear, or keep, the balance of somebody who has left or
// of a guest, so that the books do not carry it for ever. It refuses with
// NotFound, "member-not-left", "nothing-to-write-off" and "month-closed".
func WriteOff(ctx context.Context, tx pgx.Tx, s lab.Scope, member, reason string) (Entry, error) {
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return Entry{}, err
	}
	m, err := lab.FindMember(ctx, tx, s.Lab.ID, member)
	if err != nil {
		return Entry{}, err
	}
	var balance int64
	err = tx.QueryRow(ctx, `SELECT coalesce(sum(amount_minor), 0)::bigint FROM postings
		WHERE lab_id = $1 AND account = 'member' AND member_id = $2`, s.Lab.ID, member).Scan(&balance)
	switch {
	case err != nil:
		return Entry{}, fmt.Errorf("write off: %w", err)
	case m.LeftAt == nil && m.GuestOf == nil:
		return Entry{}, lab.Refuse(lab.Conflict, "member-not-left", "what members owe and are owed is settled, not written off")
	case balance == 0:
		return Entry{}, lab.Refuse(lab.Conflict, "nothing-to-write-off", "the account is even")
	}
	id, err := post(ctx, tx, s, Entry{
		Kind: WrittenOff, Text: reason, Postings: []Posting{onParty(member, -balance), onParty("", balance)},
	})
	if err != nil {
		return Entry{}, err
	}
	return FindEntry(ctx, tx, s.Lab.ID, id)
}
