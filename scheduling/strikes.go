package scheduling

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// A Strike is a place that a member gave back too late for others, or did not
// turn up for.
type Strike struct {
	ID      string     `json:"id"`
	Member  string     `json:"member"`
	Booking string     `json:"booking"`
	Kind    StrikeKind `json:"kind"`
	At      time.Time  `json:"at"`
	// CountsUntil is when it no longer counts, by the lab's rule now.
	CountsUntil time.Time `json:"counts_until"`
}

// A StrikeKind says what a strike is for.
type StrikeKind string

// The kinds of strike.
const (
	LateCancel StrikeKind = "late_cancel"
	LateChange StrikeKind = "late_change" // moved, or rolls taken out, after the cut-off
	NoShow     StrikeKind = "no_show"
)

// A BookingRecord is how a member stands with the lab's booking rules.
type BookingRecord struct {
	Member string `json:"member"`
	// Strikes are those that count, oldest first.
	Strikes []Strike `json:"strikes"`
	// SuspendedUntil is when the member can book for themselves again, if they cannot now.
	SuspendedUntil *time.Time `json:"suspended_until,omitempty"`
}

// FindBookingRecord reads how a member stands: themselves, or anybody for a
// steward. It refuses with NotFound.
func FindBookingRecord(ctx context.Context, tx pgx.Tx, s lab.Scope, member string) (BookingRecord, error) {
	if member != s.By.ID && !s.By.Has(lab.RoleSteward) {
		return BookingRecord{}, lab.Refuse(lab.NotFound, "not-found", "there is no such member")
	}
	if _, err := lab.FindMember(ctx, tx, s.Lab.ID, member); err != nil {
		return BookingRecord{}, err
	}
	rules, err := ReadBookingRules(ctx, tx, s.Lab.ID)
	if err != nil {
		return BookingRecord{}, err
	}
	return readRecord(ctx, tx, s, rules, member)
}

func readRecord(ctx context.Context, tx pgx.Tx, s lab.Scope, rules BookingRules, member string) (BookingRecord, error) {
	counts := rules.StrikesCount.Std()
	strikes, err := many[Strike](ctx, tx, "strikes", `
		SELECT id, member_id, booking_id, kind, at, at + make_interval(secs => $4)
		FROM strikes WHERE lab_id = $1 AND member_id = $2 AND at > $3 ORDER BY at, id`,
		s.Lab.ID, member, s.Now.Add(-counts), counts.Seconds())
	if err != nil {
		return BookingRecord{}, err
	}
	out := BookingRecord{Member: member, Strikes: strikes}
	if n := int64(len(strikes)); rules.Strikes != nil && n >= *rules.Strikes {
		// Once so many have run out that fewer than the rule's count are left.
		out.SuspendedUntil = &strikes[n-*rules.Strikes].CountsUntil
	}
	return out, nil
}

// strike notes that a member let a place go to waste.
func strike(ctx context.Context, tx pgx.Tx, s lab.Scope, b Booking, kind StrikeKind) error {
	_, err := tx.Exec(ctx, `
		INSERT INTO strikes (lab_id, id, member_id, booking_id, kind, at) VALUES ($1, new_id('strike', $2), $3, $4, $5, $2)`,
		s.Lab.ID, s.Now, b.Member, b.ID, kind)
	if err != nil {
		return fmt.Errorf("note strike: %w", err)
	}
	return nil
}

// RemoveStrike takes a strike back. It refuses with NotFound.
func RemoveStrike(ctx context.Context, tx pgx.Tx, s lab.Scope, id string) error {
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return err
	}
	tag, err := tx.Exec(ctx, `DELETE FROM strikes WHERE lab_id = $1 AND id = $2`, s.Lab.ID, id)
	if err != nil {
		return fmt.Errorf("take strike back: %w", err)
	}
	if tag.RowsAffected() == 0 {
		return lab.Refuse(lab.NotFound, "not-found", "there is no such strike")
	}
	return nil
}
