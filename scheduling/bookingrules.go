package scheduling

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/units"
)

// BookingRules are what a lab rules on bookings.
type BookingRules struct {
	// Hold is how long a place is held unconfirmed, Offer how long one is held
	// for whoever waited for it.
	Hold  units.Duration `json:"hold"`
	Offer units.Duration `json:"offer"`
	// CutOff is how long before its session a confirmed place can be given back
	// without a strike.
	CutOff units.Duration `json:"cut_off"`
	// RollsAWeek is how many rolls a member may have booked in the sessions of
	// one ISO 8601 week in the lab's time; nil for as many as fit.
	RollsAWeek *int64 `json:"rolls_a_week,omitempty"`
	// Strikes is how many a member may have, each counting for StrikesCount,
	// before they cannot book for themselves; nil where strikes are only kept.
	Strikes      *int64         `json:"strikes,omitempty"`
	StrikesCount units.Duration `json:"strikes_count"`
	Version      int64          `json:"-"`
}

// Revision counts the changes of the rules.
func (r BookingRules) Revision() int64 { return r.Version }

// usualRules hold until a lab rules otherwise. The spans are ours; a day's
// notice is common practice where places are few.
func usualRules() BookingRules {
	return BookingRules{
		Hold: 15 * units.Minute, Offer: 12 * units.Hour, CutOff: units.Day, StrikesCount: 90 * units.Day, Version: 1,
	}
}

// A BookingRulesChange is what the steward changes of them; nil leaves a field
// as it is, and null takes a limit away.
type BookingRulesChange struct {
	Hold         *units.Duration       `json:"hold,omitempty"`
	Offer        *units.Duration       `json:"offer,omitempty"`
	CutOff       *units.Duration       `json:"cut_off,omitempty"`
	RollsAWeek   units.Optional[int64] `json:"rolls_a_week,omitzero"`
	Strikes      units.Optional[int64] `json:"strikes,omitzero"`
	StrikesCount *units.Duration       `json:"strikes_count,omitempty"`
}

// ReadBookingRules reads a lab's rules.
func ReadBookingRules(ctx context.Context, tx pgx.Tx, labID string) (BookingRules, error) {
	r := usualRules()
	err := tx.QueryRow(ctx, `
		SELECT hold_s, offer_s, cut_off_s, rolls_a_week, strikes, strikes_count_s, version
		FROM booking_rules WHERE lab_id = $1`, labID).
		Scan(&r.Hold, &r.Offer, &r.CutOff, &r.RollsAWeek, &r.Strikes, &r.StrikesCount, &r.Version)
	if err != nil && !errors.Is(err, pgx.ErrNoRows) {
		return BookingRules{}, fmt.Errorf("read booking rules: %w", err)
	}
	return r, nil
}

// ChangeBookingRules changes a lab's rules, of which the caller has seen the
// given version; what is held, booked or noted already stays as it is. It
// refuses with Invalid and Stale.
func ChangeBookingRules(ctx context.Context, tx pgx.Tx, s lab.Scope, version int64, in BookingRulesChange) (BookingRules, error) {
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return BookingRules{}, err
	}
	r, err := ReadBookingRules(ctx, tx, s.Lab.ID)
	if err != nil {
		return BookingRules{}, err
	}
	if r.Version != version {
		return BookingRules{}, lab.Refuse(lab.Stale, "stale", "the rules have changed since you read them; read them again")
	}
	no := lab.Refuse(lab.Invalid, "invalid", "bookings cannot be ruled like this")
	span := func(pointer string, to *units.Duration, least, most units.Duration, rule *units.Duration) {
		if to == nil {
			return
		}
		if *rule = *to; *to < least || *to > most {
			_ = no.With(pointer, "out-of-range", "want %s to %s", least, most)
		}
	}
	count := func(pointer string, to units.Optional[int64], most int64, rule **int64) {
		if !to.Given {
			return
		}
		if *rule = to.To; to.To != nil && (*to.To < 1 || *to.To > most) {
			_ = no.With(pointer, "out-of-range", "want 1 to %d, or null for no limit", most)
		}
	}
	span("/hold", in.Hold, units.Minute, 7*units.Day, &r.Hold)
	span("/offer", in.Offer, units.Minute, 7*units.Day, &r.Offer)
	span("/cut_off", in.CutOff, 0, 28*units.Day, &r.CutOff)
	span("/strikes_count", in.StrikesCount, units.Day, 730*units.Day, &r.StrikesCount)
	count("/rolls_a_week", in.RollsAWeek, 1000, &r.RollsAWeek)
	count("/strikes", in.Strikes, 100, &r.Strikes)
	if err := no.OrNil(); err != nil {
		return BookingRules{}, err
	}
	_, err = tx.Exec(ctx, `
		INSERT INTO booking_rules (lab_id, hold_s, offer_s, cut_off_s, rolls_a_week, strikes, strikes_count_s, version)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8)
		ON CONFLICT (lab_id) DO UPDATE SET hold_s = $2, offer_s = $3, cut_off_s = $4, rolls_a_week = $5, strikes = $6,
			strikes_count_s = $7, version = $8`,
		s.Lab.ID, r.Hold, r.Offer, r.CutOff, r.RollsAWeek, r.Strikes, r.StrikesCount, r.Version+1)
	if err != nil {
		return BookingRules{}, fmt.Errorf("change booking rules: %w", err)
	}
	return ReadBookingRules(ctx, tx, s.Lab.ID)
}
