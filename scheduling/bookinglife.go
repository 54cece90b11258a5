package scheduling

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/database"
	"wetside/lab/telling"
	"wetside/lab/units"
)

// openBookings locks the lab for a change of what is booked, and reads its
// rules. Holds that are over by now are noted as lapsed: who counts on a place
// being free writes that it is, so that no clock can bring the hold back. And
// whoever waits comes first. Then it reads what more asks for, which may be read
// twice.
func openBookings(ctx context.Context, tx pgx.Tx, s lab.Scope, more func() []func(pgx.Tx) error) (BookingRules, error) {
	var rules BookingRules
	var moved, due bool
	first := []func(pgx.Tx) error{
		func(tx pgx.Tx) error {
			_, err := lab.Lock(ctx, tx, s.Lab.ID)
			return err
		},
		func(tx pgx.Tx) (err error) {
			moved, err = lapse(ctx, tx, s)
			return err
		},
		func(tx pgx.Tx) (err error) {
			due, err = offersDue(ctx, tx, s.Lab.ID)
			return err
		},
		func(tx pgx.Tx) (err error) {
			rules, err = ReadBookingRules(ctx, tx, s.Lab.ID)
			return err
		},
	}
	// What is refused here may be granted once the list has been gone through, and
	// the other way round.
	var refused error
	for _, read := range more() {
		first = append(first, func(tx pgx.Tx) error {
			err := read(tx)
			if refused == nil && lab.RefusalCode(err) != "" {
				refused, err = err, nil
			}
			return err
		})
	}
	if err := database.Together(ctx, tx, first...); err != nil || !moved && !due {
		return rules, cmp.Or(err, refused)
	}
	if err := OfferPlaces(ctx, tx, s); err != nil {
		return rules, err
	}
	return rules, database.Together(ctx, tx, more()...)
}

// nothingMore is for openBookings.
func nothingMore() []func(pgx.Tx) error { return nil }

// lapse notes which holds are over. That is no change of the bookings, nor of
// what plans were made from: both go by the time as well.
func lapse(ctx context.Context, tx pgx.Tx, s lab.Scope) (some bool, err error) {
	over, err := many[struct{ ID string }](ctx, tx, "holds", `
		UPDATE bookings SET lapsed_at = $2
		WHERE lab_id = $1 AND held_until <= $2 AND confirmed_at IS NULL AND cancelled_at IS NULL AND lapsed_at IS NULL
		RETURNING id`, s.Lab.ID, s.Now)
	if err != nil || len(over) == 0 {
		return false, err
	}
	for _, o := range over {
		if err := lapseOne(ctx, tx, s, o.ID); err != nil {
			return true, err
		}
	}
	return true, forgetSeen(ctx, tx, s.Lab.ID)
}

// lapseOne gives up what a hold that is over held, and tells its member.
func lapseOne(ctx context.Context, tx pgx.Tx, s lab.Scope, id string) error {
	b, err := one[Booking](ctx, tx, "booking", bookingQuery+" AND b.id = $3", s.Lab.ID, s.Now, id)
	if err != nil {
		return err
	}
	session, err := FindSession(ctx, tx, s, b.Session)
	if err != nil {
		return err
	}
	if err := freePlaces(ctx, tx, s, b.ID, b.Session); err != nil {
		return err
	}
	kind := telling.BookingLapsed
	if b.Offered {
		kind = telling.OfferLapsed
		if err := offerAnswered(ctx, tx, s, b.ID, b.Session, OfferLapsed); err != nil {
			return err
		}
	}
	return tell(ctx, tx, s, kind, b, session, nil)
}

// freePlaces gives up the places of a booking that has ended; a self-service
// session that nobody has booked any more is nobody's.
func freePlaces(ctx context.Context, tx pgx.Tx, s lab.Scope, booking, session string) error {
	if err := freeRolls(ctx, tx, s, booking); err != nil {
		return err
	}
	return handBack(ctx, tx, s, session)
}

func freeRolls(ctx context.Context, tx pgx.Tx, s lab.Scope, booking string) error {
	if _, err := tx.Exec(ctx, `UPDATE booking_rolls SET live = false WHERE lab_id = $1 AND booking_id = $2`, s.Lab.ID, booking); err != nil {
		return fmt.Errorf("free places: %w", err)
	}
	return nil
}

// heldUntil is when a hold made now ends: after the rule's span, and with its
// session at the latest.
func heldUntil(now time.Time, span units.Duration, session Session) *time.Time {
	until := now.Add(span.Std())
	if session.End.Before(until) {
		until = session.End
	}
	return &until
}

// standing refuses to change a booking that holds no place any more, with
// booking-cancelled, hold-lapsed or booking-missed.
func (b Booking) standing() error {
	switch b.Status {
	case Cancelled:
		return lab.Refuse(lab.Conflict, "booking-cancelled", "the booking is cancelled already")
	case Lapsed:
		return lab.Refuse(lab.Conflict, "hold-lapsed", "the place was held until %s", b.HeldUntil.Format(time.RFC3339))
	case Missed:
		return lab.Refuse(lab.Conflict, "booking-missed", "its member did not turn up")
	case Held, Confirmed:
	}
	return nil
}

// changeable locks the lab and reads a booking that stands at a version, with
// its session.
func changeable(ctx context.Context, tx pgx.Tx, s lab.Scope, id string, version int64) (BookingRules, Booking, Session, error) {
	var b Booking
	var session Session
	rules, err := openBookings(ctx, tx, s, func() []func(pgx.Tx) error {
		return []func(pgx.Tx) error{func(tx pgx.Tx) (err error) {
			b, err = FindBooking(ctx, tx, s, id)
			return err
		}}
	})
	if err != nil {
		return rules, b, session, err
	}
	if b.Version != version {
		return rules, b, session, stale("booking")
	}
	if err = b.standing(); err != nil {
		return rules, b, session, err
	}
	session, err = FindSession(ctx, tx, s, b.Session)
	return rules, b, session, err
}

// alter writes a change of a booking, whose version it raises.
func alter(ctx context.Context, tx pgx.Tx, s lab.Scope, id, assigned string, args ...any) error {
	_, err := tx.Exec(ctx, `UPDATE bookings SET `+assigned+`, version = version + 1 WHERE lab_id = $1 AND id = $2`,
		append([]any{s.Lab.ID, id}, args...)...)
	if err != nil {
		return fmt.Errorf("change booking: %w", err)
	}
	return nil
}

// update is alter, as a change of the schedule, and reads the booking again.
func update(ctx context.Context, tx pgx.Tx, s lab.Scope, id, assigned string, args ...any) (Booking, error) {
	var b Booking
	err := database.Together(ctx, tx,
		func(tx pgx.Tx) error { return alter(ctx, tx, s, id, assigned, args...) },
		func(tx pgx.Tx) error { return lab.Touch(ctx, tx, s.Lab.ID) },
		func(tx pgx.Tx) (err error) {
			b, err = FindBooking(ctx, tx, s, id)
			return err
		})
	return b, err
}

// ConfirmBooking makes a hold good. A confirmed booking stays as it is. It
// refuses with hold-lapsed, booking-cancelled, booking-missed and Stale.
func ConfirmBooking(ctx context.Context, tx pgx.Tx, s lab.Scope, id string, version int64) (Booking, error) {
	_, b, session, err := changeable(ctx, tx, s, id, version)
	if err != nil || b.Status == Confirmed {
		return b, err
	}
	if b.Offered {
		if err := offerAnswered(ctx, tx, s, id, b.Session, Accepted); err != nil {
			return Booking{}, err
		}
	}
	if b, err = update(ctx, tx, s, id, `confirmed_at = $3`, s.Now); err != nil {
		return Booking{}, err
	}
	if err := tookPlaces(ctx, tx, s.Lab.ID); err != nil {
		return Booking{}, err
	}
	return b, tell(ctx, tx, s, telling.BookingConfirmed, b, session, nil)
}

// CancelBooking gives a booking's places back. A member who gives confirmed
// ones back after the lab's cut-off does it late, which is a strike. It
// refuses with roll-not-on-shelf once any of its rolls is in a batch, and with
// booking-cancelled, hold-lapsed, booking-missed and Stale.
func CancelBooking(ctx context.Context, tx pgx.Tx, s lab.Scope, id string, version int64) (Booking, error) {
	rules, b, session, err := changeable(ctx, tx, s, id, version)
	if err != nil {
		return Booking{}, err
	}
	late, kind := rules.late(s, b, session), telling.BookingCancelled
	writes := []func(pgx.Tx) error{
		func(tx pgx.Tx) error { return onShelf(ctx, tx, s, b.Rolls) },
		func(tx pgx.Tx) error { return freeRolls(ctx, tx, s, id) },
		func(tx pgx.Tx) error { return handBack(ctx, tx, s, session.ID) },
		func(tx pgx.Tx) error { return alter(ctx, tx, s, id, `cancelled_at = $3, late = $4`, s.Now, late) },
	}
	if late {
		kind = telling.CancelledLate
		writes = append(writes, func(tx pgx.Tx) error { return strike(ctx, tx, s, b, LateCancel) })
	}
	if b.Offered && b.Status == Held {
		writes = append(writes, func(tx pgx.Tx) error { return offerAnswered(ctx, tx, s, id, b.Session, Declined) })
	}
	var due bool
	var after Booking
	err = database.Together(ctx, tx, append(writes,
		func(tx pgx.Tx) error { return lab.Touch(ctx, tx, s.Lab.ID) },
		func(tx pgx.Tx) error { return tell(ctx, tx, s, kind, b, session, nil) },
		func(tx pgx.Tx) (err error) {
			due, err = offersDue(ctx, tx, s.Lab.ID)
			return err
		},
		func(tx pgx.Tx) (err error) {
			after, err = FindBooking(ctx, tx, s, id)
			return err
		})...)
	if err == nil && (due || b.Offered) { // declining an offer leaves its entry waiting
		err = OfferPlaces(ctx, tx, s)
	}
	return after, err
}

// late says whether the member who acts gives a place back after the cut-off.
// A steward who does it for them, or a session that is over, costs nobody a
// place that others could have had of them.
func (r BookingRules) late(s lab.Scope, b Booking, session Session) bool {
	return b.Status == Confirmed && b.Member == s.By.ID && s.Now.Before(session.End) && s.Now.After(session.Start.Add(-r.CutOff.Std()))
}

// onShelf refuses with roll-not-on-shelf unless all rolls wait on the shelf.
func onShelf(ctx context.Context, tx pgx.Tx, s lab.Scope, rolls []string) error {
	var gone int64
	err := tx.QueryRow(ctx, `SELECT count(*) FROM rolls WHERE lab_id = $1 AND id = ANY($2) AND status <> 'on_shelf'`,
		s.Lab.ID, rolls).Scan(&gone)
	if err != nil {
		return fmt.Errorf("look for rolls: %w", err)
	}
	if gone > 0 {
		return lab.Refuse(lab.Conflict, "roll-not-on-shelf", "%d of its rolls are in a batch or beyond", gone)
	}
	return nil
}

// RecordNoShow notes that a member did not turn up for a confirmed booking
// whose session has begun: a strike. The places are free again. It refuses
// with session-not-begun, not-confirmed, roll-not-on-shelf, and as
// CancelBooking does.
func RecordNoShow(ctx context.Context, tx pgx.Tx, s lab.Scope, id string, version int64) (Booking, error) {
	_, b, session, err := changeable(ctx, tx, s, id, version)
	switch {
	case err != nil:
		return Booking{}, err
	case b.Status != Confirmed:
		return Booking{}, lab.Refuse(lab.Conflict, "not-confirmed", "the booking is only held")
	case s.Now.Before(session.Start):
		return Booking{}, lab.Refuse(lab.Conflict, "session-not-begun", "the session begins at %s", session.Start.Format(time.RFC3339))
	}
	if err := onShelf(ctx, tx, s, b.Rolls); err != nil {
		return Booking{}, err
	}
	if err := strike(ctx, tx, s, b, NoShow); err != nil {
		return Booking{}, err
	}
	if err := freePlaces(ctx, tx, s, id, session.ID); err != nil {
		return Booking{}, err
	}
	if b, err = update(ctx, tx, s, id, `no_show_at = $3`, s.Now); err != nil {
		return Booking{}, err
	}
	if err := OfferPlaces(ctx, tx, s); err != nil {
		return Booking{}, err
	}
	return b, tell(ctx, tx, s, telling.NoShow, b, session, nil)
}

// A BookingChange is what is to be another of a booking; nil leaves it as it is.
type BookingChange struct {
	Session *string   `json:"session,omitempty"`
	Rolls   *[]string `json:"rolls,omitempty"`
}

// ChangeBooking moves a booking to another session, changes its rolls, or
// both: all of it or nothing, in which case the places it has stay. A hold
// stays a hold, for no longer. Leaving a session, or taking rolls out, after
// the cut-off is a strike, as cancelling is. It refuses as Book and
// CancelBooking do.
func ChangeBooking(ctx context.Context, tx pgx.Tx, s lab.Scope, id string, version int64, in BookingChange) (Booking, error) {
	rules, b, from, err := changeable(ctx, tx, s, id, version)
	if err != nil {
		return Booking{}, err
	}
	if b.Offered && b.Status == Held {
		return Booking{}, lab.Refuse(lab.Conflict, "offer-open", "the place is offered; accept it before it is changed")
	}
	if err := onShelf(ctx, tx, s, b.Rolls); err != nil {
		return Booking{}, err
	}
	to, ids := from, b.Rolls
	if in.Rolls != nil {
		ids = *in.Rolls
	}
	if in.Session != nil {
		if to, err = FindSession(ctx, tx, s, *in.Session); err != nil {
			return Booking{}, at("/session", err)
		}
	}
	if err := to.open(s.Now); err != nil {
		return Booking{}, err
	}
	// From here on the booking is out of the way; a refusal brings it back with
	// the transaction.
	if _, err := tx.Exec(ctx, `DELETE FROM booking_rolls WHERE lab_id = $1 AND booking_id = $2`, s.Lab.ID, id); err != nil {
		return Booking{}, fmt.Errorf("change booking: %w", err)
	}
	if err := handBack(ctx, tx, s, from.ID); err != nil {
		return Booking{}, err
	}
	rolls, err := bookable(ctx, tx, s, ids)
	if err != nil {
		return Booking{}, err
	}
	if rolls[0].Member != b.Member {
		return Booking{}, lab.Refuse(lab.Invalid, "invalid", "these rolls cannot be booked together").
			With("/rolls/0", "other-member", "the rolls of one booking belong to one member")
	}
	if to, err = FindSession(ctx, tx, s, to.ID); err != nil { // its operator may have just left it
		return Booking{}, err
	}
	may := func(e Session) error { return mayBook(ctx, tx, s, rules, e, rolls, id) }
	if err := may(to); err != nil {
		return Booking{}, err
	}
	sh := &shop{s: s}
	if err := database.Together(ctx, tx, sh.reads(ctx, bookedOnly)...); err != nil {
		return Booking{}, err
	}
	if err := sh.fit(ctx, to, rolls, may); err != nil {
		return Booking{}, err
	}
	givesBack := to.ID != from.ID || slices.ContainsFunc(b.Rolls, func(r string) bool { return !slices.Contains(ids, r) })
	if givesBack && rules.late(s, b, from) {
		if err := strike(ctx, tx, s, b, LateChange); err != nil {
			return Booking{}, err
		}
	}
	if err := addRolls(ctx, tx, s, id, rolls); err != nil {
		return Booking{}, err
	}
	if err := takeUp(ctx, tx, s, to, b.Member); err != nil {
		return Booking{}, err
	}
	changed, err := update(ctx, tx, s, id, `session_id = $3, held_until = least(held_until, $4)`, to.ID, to.End)
	if err != nil {
		return Booking{}, err
	}
	if err := OfferPlaces(ctx, tx, s); err != nil {
		return Booking{}, err
	}
	if to.ID != from.ID {
		return changed, tell(ctx, tx, s, telling.BookingMoved, changed, to, &from)
	}
	return changed, tell(ctx, tx, s, telling.BookingChanged, changed, to, nil)
}
