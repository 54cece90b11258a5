package scheduling

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// A Booking is a member's rolls held a place in a session.
type Booking struct {
	ID          string     `json:"id"`
	Member      string     `json:"member"`
	Session     string     `json:"session"`
	Rolls       []string   `json:"rolls"`
	CreatedAt   time.Time  `json:"created_at"`
	CancelledAt *time.Time `json:"cancelled_at,omitempty"`
	Version     int64      `json:"-"`
}

// Revision is the booking's version, for conditional requests.
func (b Booking) Revision() int64 { return b.Version }

// NewBooking is what it takes to book.
type NewBooking struct {
	Session string   `json:"session"`
	Rolls   []string `json:"rolls"`
}

const bookingColumns = `b.id, b.member_id, b.session_id,
	ARRAY(SELECT k.roll_id FROM booking_rolls k WHERE k.lab_id = b.lab_id AND k.booking_id = b.id ORDER BY k.roll_id),
	b.created_at, b.cancelled_at, b.version`

// Book gives rolls of one member a place in a session if, by the planner's
// rules, they and all that is booked already can be run. A steward may book
// for the rolls' owner. It refuses with
//
//   - not-found: no such session, or a roll that is not the member's own
//   - session-over, session-cancelled
//   - roll-already-booked, roll-not-on-shelf
//   - invalid: the same roll twice, rolls of several members
//   - does-not-fit: with every reason as a fault at the roll, and the nearest
//     sessions that would take them instead
func Book(ctx context.Context, tx pgx.Tx, s lab.Scope, in NewBooking) (Booking, error) {
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return Booking{}, err
	}
	session, err := FindSession(ctx, tx, s.Lab.ID, in.Session)
	if err != nil {
		return Booking{}, at("/session", err)
	}
	if err := session.open(s.Now); err != nil {
		return Booking{}, err
	}
	rolls, err := bookable(ctx, tx, s, in.Rolls)
	if err != nil {
		return Booking{}, err
	}
	shop, err := readShop(ctx, tx, s)
	if err != nil {
		return Booking{}, err
	}
	misfit, err := shop.misfit(ctx, session, rolls)
	if err != nil {
		return Booking{}, err
	}
	if len(misfit) > 0 {
		no := lab.Refuse(lab.Conflict, "does-not-fit", "the session cannot take these rolls beside what is booked")
		for _, m := range misfit {
			_ = no.With(fmt.Sprintf("/rolls/%d", slices.Index(in.Rolls, m.Roll)), m.Code, "%s", m.Detail)
		}
		if no.Instead, err = shop.nearest(ctx, session, rolls); err != nil {
			return Booking{}, err
		}
		return Booking{}, no
	}
	return insertBooking(ctx, tx, s, rolls, session.ID)
}

// bookable reads the rolls of a booking in the order given and refuses those
// that cannot be booked now.
func bookable(ctx context.Context, tx pgx.Tx, s lab.Scope, ids []string) ([]Roll, error) {
	no := lab.Refuse(lab.Invalid, "invalid", "these rolls cannot be booked together")
	if len(ids) == 0 {
		return nil, no.With("/rolls", "empty", "name at least one roll")
	}
	rolls := make([]Roll, 0, len(ids))
	for i, id := range ids {
		pointer := fmt.Sprintf("/rolls/%d", i)
		if slices.Index(ids, id) < i {
			return nil, no.With(pointer, "duplicate", "the roll is named twice")
		}
		roll, err := FindRoll(ctx, tx, s, id)
		if err != nil {
			return nil, at(pointer, err)
		}
		switch {
		case roll.Member != s.By.ID && !s.By.Has(lab.RoleSteward):
			return nil, lab.Refuse(lab.NotFound, "not-found", "there is no such roll").With(pointer, "unknown", "not a roll of yours")
		case roll.Status == Booked:
			return nil, lab.Refuse(lab.Conflict, "roll-already-booked", "a roll holds one place at a time").
				With(pointer, "roll-already-booked", "booked in session %s", *roll.Session)
		case roll.Status != OnShelf:
			return nil, lab.Refuse(lab.Conflict, "roll-not-on-shelf", "only rolls on the shelf can be booked").
				With(pointer, "roll-not-on-shelf", "the roll is %s", roll.Status)
		case i > 0 && roll.Member != rolls[0].Member:
			return nil, no.With(pointer, "other-member", "the rolls of one booking belong to one member")
		}
		rolls = append(rolls, roll)
	}
	return rolls, nil
}

func insertBooking(ctx context.Context, tx pgx.Tx, s lab.Scope, rolls []Roll, session string) (Booking, error) {
	ids := make([]string, 0, len(rolls))
	for _, r := range rolls {
		ids = append(ids, r.ID)
	}
	slices.Sort(ids)
	var id string
	err := tx.QueryRow(ctx, `
		INSERT INTO bookings (lab_id, id, member_id, session_id, created_at)
		VALUES ($1, new_id('booking', $2), $3, $4, $2) RETURNING id`,
		s.Lab.ID, s.Now, rolls[0].Member, session).Scan(&id)
	if err != nil {
		return Booking{}, fmt.Errorf("book: %w", err)
	}
	_, err = tx.Exec(ctx, `
		INSERT INTO booking_rolls (lab_id, booking_id, roll_id) SELECT $1, $2, unnest($3::text[])`, s.Lab.ID, id, ids)
	if lab.Violates(err, lab.UniqueViolation, "booking_rolls_one_place") {
		return Booking{}, lab.Refuse(lab.Conflict, "roll-already-booked", "a roll holds one place at a time")
	}
	if err != nil {
		return Booking{}, fmt.Errorf("book rolls: %w", err)
	}
	if err := lab.Touch(ctx, tx, s.Lab.ID); err != nil {
		return Booking{}, err
	}
	return FindBooking(ctx, tx, s, id)
}

// FindBooking reads a booking that the member may see: their own, or any for a
// steward. It refuses with NotFound.
func FindBooking(ctx context.Context, tx pgx.Tx, s lab.Scope, id string) (Booking, error) {
	b, err := one[Booking](ctx, tx, "booking",
		`SELECT `+bookingColumns+` FROM bookings b WHERE b.lab_id = $1 AND b.id = $2`, s.Lab.ID, id)
	if err == nil && b.Member != s.By.ID && !s.By.Has(lab.RoleSteward) {
		err = lab.Refuse(lab.NotFound, "not-found", "there is no such booking")
	}
	return b, err
}

// ListBookings reads the bookings that the member may see, oldest first: their
// own, or everybody's for a steward; of one session if it is named.
func ListBookings(ctx context.Context, tx pgx.Tx, s lab.Scope, session string, p lab.Page) (lab.List[Booking], error) {
	member := s.By.ID
	if s.By.Has(lab.RoleSteward) {
		member = ""
	}
	items, err := many[Booking](ctx, tx, "bookings", `
		SELECT `+bookingColumns+` FROM bookings b
		WHERE b.lab_id = $1 AND b.id > $2 AND ($3 = '' OR b.member_id = $3) AND ($4 = '' OR b.session_id = $4)
		ORDER BY b.id LIMIT $5`, s.Lab.ID, p.After, member, session, p.Limit+1)
	if err != nil {
		return lab.List[Booking]{}, err
	}
	return lab.Cut(items, p, func(b Booking) string { return b.ID }), nil
}

// CancelBooking gives a booking's places back. It refuses with roll-not-on-shelf
// once any of its rolls is in a batch, and with booking-cancelled the second time.
func CancelBooking(ctx context.Context, tx pgx.Tx, s lab.Scope, id string, version int64) (Booking, error) {
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return Booking{}, err
	}
	b, err := FindBooking(ctx, tx, s, id)
	switch {
	case err != nil:
		return Booking{}, err
	case b.Version != version:
		return Booking{}, stale("booking")
	case b.CancelledAt != nil:
		return Booking{}, lab.Refuse(lab.Conflict, "booking-cancelled", "the booking is cancelled already")
	}
	var gone int64
	err = tx.QueryRow(ctx, `SELECT count(*) FROM rolls WHERE lab_id = $1 AND id = ANY($2) AND status <> 'on_shelf'`,
		s.Lab.ID, b.Rolls).Scan(&gone)
	if err != nil {
		return Booking{}, fmt.Errorf("cancel booking: %w", err)
	}
	if gone > 0 {
		return Booking{}, lab.Refuse(lab.Conflict, "roll-not-on-shelf", "%d of its rolls are in a batch or beyond", gone)
	}
	if _, err := tx.Exec(ctx, `UPDATE bookings SET cancelled_at = $3, version = version + 1 WHERE lab_id = $1 AND id = $2`,
		s.Lab.ID, id, s.Now); err != nil {
		return Booking{}, fmt.Errorf("cancel booking: %w", err)
	}
	if _, err := tx.Exec(ctx, `UPDATE booking_rolls SET live = false WHERE lab_id = $1 AND booking_id = $2`, s.Lab.ID, id); err != nil {
		return Booking{}, fmt.Errorf("cancel booking: %w", err)
	}
	if err := lab.Touch(ctx, tx, s.Lab.ID); err != nil {
		return Booking{}, err
	}
	return FindBooking(ctx, tx, s, id)
}
