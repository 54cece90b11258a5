package scheduling

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/database"
	"wetside/lab/jobs"
	"wetside/lab/telling"
)

// A Booking is a member's rolls held a place in a session.
type Booking struct {
	ID      string        `json:"id"`
	Member  string        `json:"member"`
	Session string        `json:"session"`
	Rolls   []string      `json:"rolls"`
	Status  BookingStatus `json:"status"`
	// HeldUntil is when a hold that is not confirmed ends, or ended.
	HeldUntil   *time.Time `json:"held_until,omitempty"`
	CreatedAt   time.Time  `json:"created_at"`
	ConfirmedAt *time.Time `json:"confirmed_at,omitempty"`
	CancelledAt *time.Time `json:"cancelled_at,omitempty"`
	NoShowAt    *time.Time `json:"no_show_at,omitempty"`
	// Late says that its member cancelled it after the lab's cut-off.
	Late bool `json:"late"`
	// Offered says that it came of the waiting list.
	Offered bool  `json:"offered"`
	Version int64 `json:"-"`
}

// Revision is the booking's version, for conditional requests.
func (b Booking) Revision() int64 { return b.Version }

// A BookingStatus is what has become of a booking.
type BookingStatus string

// The statuses. Held and Confirmed bookings hold their places, the others none.
const (
	Held      BookingStatus = "held"
	Confirmed BookingStatus = "confirmed"
	Lapsed    BookingStatus = "lapsed" // held, and not confirmed in time
	Cancelled BookingStatus = "cancelled"
	Missed    BookingStatus = "no_show"
)

// NewBooking is what it takes to book.
type NewBooking struct {
	Session string   `json:"session"`
	Rolls   []string `json:"rolls"`
	// Hold asks for the place to be held, for as long as the lab's rules say,
	// until it is confirmed.
	Hold bool `json:"hold,omitempty"`
}

// bookingQuery selects bookings as a Booking is scanned; $1 is the lab, $2 now.
// Whether a hold has lapsed is decided by now, whatever has been noted of it.
const bookingQuery = `
	SELECT b.id, b.member_id, b.session_id,
		ARRAY(SELECT k.roll_id FROM booking_rolls k WHERE k.lab_id = b.lab_id AND k.booking_id = b.id ORDER BY k.roll_id),
		CASE
			WHEN b.cancelled_at IS NOT NULL THEN 'cancelled'
			WHEN b.no_show_at IS NOT NULL THEN 'no_show'
			WHEN b.confirmed_at IS NOT NULL THEN 'confirmed'
			WHEN b.lapsed_at IS NOT NULL OR b.held_until <= $2 THEN 'lapsed'
			ELSE 'held'
		END,
		CASE WHEN b.confirmed_at IS NULL THEN b.held_until END,
		b.created_at, b.confirmed_at, b.cancelled_at, b.no_show_at, b.late, b.offered, b.version
	FROM bookings b WHERE b.lab_id = $1`

// Book gives rolls of one member a place in a session if, by the planner's
// rules, they and all that is booked already can be run. A steward may book
// for the rolls' owner, and is not bound by quotas. It refuses with
//
//   - not-found: no such session, or a roll that is not the member's own
//   - session-over, session-cancelled
//   - roll-already-booked, roll-not-on-shelf
//   - roll-twice, too-many-in-booking; invalid: rolls of several members
//   - quota-exceeded, booking-suspended: by the lab's booking rules
//   - not-certified, session-taken: of self-service sessions
//   - does-not-fit: with every reason as a fault at the roll, and the nearest
//     sessions that would take them instead
func Book(ctx context.Context, tx pgx.Tx, s lab.Scope, in NewBooking) (Booking, error) {
	var session Session
	var rolls []Roll
	sh := &shop{s: s}
	rules, err := openBookings(ctx, tx, s, func() []func(pgx.Tx) error {
		return append(sh.reads(ctx, bookedOnly),
			func(tx pgx.Tx) (err error) {
				if session, err = FindSession(ctx, tx, s, in.Session); err != nil {
					return at("/session", err)
				}
				return session.open(s.Now)
			},
			func(tx pgx.Tx) (err error) {
				rolls, err = bookable(ctx, tx, s, in.Rolls)
				return err
			})
	})
	if err != nil {
		return Booking{}, err
	}
	may := func(e Session) error { return mayBook(ctx, tx, s, rules, e, rolls, "") }
	if err := may(session); err != nil {
		return Booking{}, err
	}
	if err := sh.fit(ctx, session, rolls, may); err != nil {
		return Booking{}, err
	}
	var until *time.Time
	kind := telling.BookingConfirmed
	if in.Hold {
		until, kind = heldUntil(s.Now, rules.Hold, session), telling.BookingHeld
	}
	b, err := insertBooking(ctx, tx, s, rolls, session, until, false)
	if err != nil {
		return Booking{}, err
	}
	return b, database.Together(ctx, tx,
		func(tx pgx.Tx) error { return tookPlaces(ctx, tx, s.Lab.ID) },
		func(tx pgx.Tx) error { return tell(ctx, tx, s, kind, b, session, nil) })
}

// fit refuses with does-not-fit what a session cannot take, with every reason
// and the nearest sessions that can, of those that may.
func (sh *shop) fit(ctx context.Context, session Session, rolls []Roll, may func(Session) error) error {
	misfit, err := sh.misfit(ctx, session, rolls)
	if err != nil || len(misfit) == 0 {
		return err
	}
	no := lab.Refuse(lab.Conflict, "does-not-fit", "the session cannot take these rolls beside what is booked")
	for _, m := range misfit {
		i := slices.IndexFunc(rolls, func(r Roll) bool { return r.ID == m.Roll })
		_ = no.With(fmt.Sprintf("/rolls/%d", i), m.Code, "%s", m.Detail)
	}
	if no.Instead, err = sh.nearest(ctx, session, rolls, may); err != nil {
		return err
	}
	return no
}

// bookable reads the rolls of a booking in the order given and refuses those
// that cannot be booked now.
func bookable(ctx context.Context, tx pgx.Tx, s lab.Scope, ids []string) ([]Roll, error) {
	no := lab.Refuse(lab.Invalid, "invalid", "these rolls cannot be booked together")
	switch {
	case len(ids) == 0:
		return nil, no.With("/rolls", "empty", "name at least one roll")
	case len(ids) > mostRolls:
		return nil, lab.Refuse(lab.Invalid, "too-many-in-booking", "a booking has %d rolls at most", mostRolls).
			With("/rolls", "length", "these are %d", len(ids))
	}
	read, err := queryRolls(ctx, tx, s.Lab.ID, s.Now, "AND r.id = ANY($3)", ids)
	if err != nil {
		return nil, err
	}
	byID := byKey(read, func(r Roll) string { return r.ID })
	rolls := make([]Roll, 0, len(ids))
	for i, id := range ids {
		pointer := fmt.Sprintf("/rolls/%d", i)
		if slices.Index(ids, id) < i {
			return nil, lab.Refuse(lab.Invalid, "roll-twice", "a roll is booked once").
				With(pointer, "duplicate", "the roll is named twice")
		}
		roll, there := byID[id]
		switch {
		case !there, roll.Member != s.By.ID && !s.By.Has(lab.RoleSteward):
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

// insertBooking writes a booking, held until a time or, with none, confirmed.
// When a hold ends, a job looks who is next.
func insertBooking(ctx context.Context, tx pgx.Tx, s lab.Scope, rolls []Roll, session Session, until *time.Time, offered bool) (Booking, error) {
	var confirmed *time.Time
	if until == nil {
		confirmed = &s.Now
	}
	var id string
	err := tx.QueryRow(ctx, `
		INSERT INTO bookings (lab_id, id, member_id, session_id, created_at, held_until, confirmed_at, offered)
		VALUES ($1, new_id('booking', $2), $3, $4, $2, $5, $6, $7) RETURNING id`,
		s.Lab.ID, s.Now, rolls[0].Member, session.ID, until, confirmed, offered).Scan(&id)
	if err != nil {
		return Booking{}, fmt.Errorf("book: %w", err)
	}
	if until != nil {
		if err := jobs.At(ctx, tx, s, holdEnds, *until, nil); err != nil {
			return Booking{}, err
		}
	}
	var b Booking
	err = database.Together(ctx, tx,
		func(tx pgx.Tx) error { return addRolls(ctx, tx, s, id, rolls) },
		func(tx pgx.Tx) error { return takeUp(ctx, tx, s, session, rolls[0].Member) },
		func(tx pgx.Tx) error { return lab.Touch(ctx, tx, s.Lab.ID) },
		func(tx pgx.Tx) (err error) {
			b, err = FindBooking(ctx, tx, s, id)
			return err
		})
	return b, err
}

// addRolls gives rolls their place in a booking.
func addRolls(ctx context.Context, tx pgx.Tx, s lab.Scope, booking string, rolls []Roll) error {
	ids := make([]string, 0, len(rolls))
	for _, r := range rolls {
		ids = append(ids, r.ID)
	}
	slices.Sort(ids)
	_, err := tx.Exec(ctx, `
		INSERT INTO booking_rolls (lab_id, booking_id, roll_id) SELECT $1, $2, unnest($3::text[])`, s.Lab.ID, booking, ids)
	if lab.Violates(err, lab.UniqueViolation, "booking_rolls_one_place") {
		return lab.Refuse(lab.Conflict, "roll-already-booked", "a roll holds one place at a time")
	}
	if err != nil {
		return fmt.Errorf("book rolls: %w", err)
	}
	return nil
}

// FindBooking reads a booking that the member may see: their own, or any for a
// steward. It refuses with NotFound.
func FindBooking(ctx context.Context, tx pgx.Tx, s lab.Scope, id string) (Booking, error) {
	b, err := one[Booking](ctx, tx, "booking", bookingQuery+" AND b.id = $3", s.Lab.ID, s.Now, id)
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
	items, err := many[Booking](ctx, tx, "bookings", bookingQuery+`
			AND b.id > $3 AND ($4 = '' OR b.member_id = $4) AND ($5 = '' OR b.session_id = $5)
		ORDER BY b.id LIMIT $6`, s.Lab.ID, s.Now, p.After, member, session, p.Limit+1)
	if err != nil {
		return lab.List[Booking]{}, err
	}
	return lab.Cut(items, p, func(b Booking) string { return b.ID }), nil
}
