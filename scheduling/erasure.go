package scheduling

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry/shares"
	"wetside/lab"
	"wetside/lab/signin"
	"wetside/lab/telling"
)

// Erase throws out what is personal of somebody who has left, or of a guest, and
// leaves a pseudonym: the books stay balanced and batches traceable. It refuses
// with NotFound, "member-not-left", "member-has-balance", "member-has-bookings" and
// "member-has-film".
func Erase(ctx context.Context, tx pgx.Tx, s lab.Scope, member string) (lab.Member, error) {
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return lab.Member{}, err
	}
	m, err := lab.FindMember(ctx, tx, s.Lab.ID, member)
	if err != nil {
		return lab.Member{}, err
	}
	if m.LeftAt == nil && m.GuestOf == nil {
		return lab.Member{}, lab.Refuse(lab.Conflict, "member-not-left", "let the member leave the lab first")
	}
	if err := shares.Even(ctx, tx, s, member); err != nil {
		return lab.Member{}, err
	}
	var film, places, waits int
	err = tx.QueryRow(ctx, `SELECT
		(SELECT count(*) FROM rolls WHERE lab_id = $1 AND member_id = $2 AND status IN ('on_shelf', 'batched', 'processed')),
		(SELECT count(*) FROM bookings b JOIN sessions e ON e.lab_id = b.lab_id AND e.id = b.session_id
			WHERE b.lab_id = $1 AND b.member_id = $2 AND e.cancelled_at IS NULL AND e.ends_at > $3
				AND b.cancelled_at IS NULL AND b.lapsed_at IS NULL AND b.no_show_at IS NULL
				AND (b.confirmed_at IS NOT NULL OR b.held_until > $3)),
		(SELECT count(*) FROM waiting_entries WHERE lab_id = $1 AND member_id = $2 AND ended_at IS NULL)`,
		s.Lab.ID, member, s.Now).Scan(&film, &places, &waits)
	switch {
	case err != nil:
		return lab.Member{}, fmt.Errorf("look for film: %w", err)
	case places+waits > 0:
		return lab.Member{}, lab.Refuse(lab.Conflict, "member-has-bookings",
			"the member has %d places to come, and waits for %d: cancel and leave these first", places, waits)
	case film > 0:
		return lab.Member{}, lab.Refuse(lab.Conflict, "member-has-film", "%d rolls of the member are in the lab: hand them back first", film)
	}
	for _, forget := range []func(context.Context, pgx.Tx, lab.Scope, lab.Member) error{
		signin.Forget, telling.ForgetMember, shares.ForgetNotes, forgetNotes, forgetStrikes,
	} {
		if err := forget(ctx, tx, s, m); err != nil {
			return lab.Member{}, err
		}
	}
	return lab.Pseudonym(ctx, tx, s, member)
}

// forgetNotes throws out what a member wrote on their rolls.
func forgetNotes(ctx context.Context, tx pgx.Tx, s lab.Scope, m lab.Member) error {
	_, err := tx.Exec(ctx, `UPDATE rolls SET note = '', version = version + 1 WHERE lab_id = $1 AND member_id = $2 AND note <> ''`, s.Lab.ID, m.ID)
	if err != nil {
		return fmt.Errorf("forget notes on rolls: %w", err)
	}
	return nil
}

// forgetStrikes throws out what is counted against a member.
func forgetStrikes(ctx context.Context, tx pgx.Tx, s lab.Scope, m lab.Member) error {
	if _, err := tx.Exec(ctx, `DELETE FROM strikes WHERE lab_id = $1 AND member_id = $2`, s.Lab.ID, m.ID); err != nil {
		return fmt.Errorf("forget strikes: %w", err)
	}
	return nil
}
