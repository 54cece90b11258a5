package scheduling

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// A Waiting is a member's rolls on the waiting list: for one session, or for any
// that starts in a span.
//
// The list is in the order in which its members joined. Whenever a place may
// have come free it is gone through from the front: each is offered the first
// session wished for that takes all of the rolls, beside what is booked and
// what was offered to those before. So a place goes to the first whom it fits,
// who need not be the first in line. An offer is a hold; if it is declined or
// lapses, that session is not offered to the same rolls again, and the next
// have their turn.
type Waiting struct {
	ID      string     `json:"id"`
	Member  string     `json:"member"`
	Session *string    `json:"session,omitempty"`
	From    *time.Time `json:"from,omitempty"`
	Until   *time.Time `json:"until,omitempty"`
	Rolls   []string   `json:"rolls"`
	// Status is waiting or offered, or what the wait ended in.
	Status WaitingStatus `json:"status"`
	// Position counts those who wait for a session that this waits for too, from 1.
	Position *int64 `json:"position,omitempty"`
	// Booking is the place that is offered, or that was accepted.
	Booking    *string    `json:"booking,omitempty"`
	OfferUntil *time.Time `json:"offer_until,omitempty"`
	// Passed are the sessions that were offered in vain.
	Passed   []string   `json:"passed"`
	JoinedAt time.Time  `json:"joined_at"`
	EndedAt  *time.Time `json:"ended_at,omitempty"`
	Version  int64      `json:"-"`
}

// Revision is the entry's version, for conditional requests.
func (w Waiting) Revision() int64 { return w.Version }

// A WaitingStatus is how far a wait has come.
type WaitingStatus string

// The statuses. An offer that has lapsed by the time alone shows as waiting, or
// as ended if it was the only session wished for.
const (
	Waits        WaitingStatus = "waiting"
	Offered      WaitingStatus = "offered"
	Accepted     WaitingStatus = "accepted"
	Declined     WaitingStatus = "declined"
	OfferLapsed  WaitingStatus = "lapsed"
	LeftList     WaitingStatus = "left"
	NothingToGet WaitingStatus = "over" // the sessions wished for are over, or the rolls no longer wait
)

// NewWaiting is what it takes to join the list: a session, or a span.
type NewWaiting struct {
	Session *string    `json:"session,omitempty"`
	From    *time.Time `json:"from,omitempty"`
	Until   *time.Time `json:"until,omitempty"`
	Rolls   []string   `json:"rolls"`
}

// wishMet says, in SQL, that the entry w waits for what the entry a does: for
// the same session, for one that begins in the other's span, or for spans that overlap.
const wishMet = `(
	a.session_id = w.session_id
	OR a.session_id IS NULL AND w.session_id IS NULL AND a.from_at < w.until_at AND w.from_at < a.until_at
	OR EXISTS (SELECT FROM sessions e WHERE e.lab_id = w.lab_id AND (
		e.id = w.session_id AND a.session_id IS NULL AND e.starts_at >= a.from_at AND e.starts_at < a.until_at
		OR e.id = a.session_id AND w.session_id IS NULL AND e.starts_at >= w.from_at AND e.starts_at < w.until_at)))`

// waitingQuery selects entries as a Waiting is scanned; $1 is the lab, $2 now.
const waitingQuery = `
	SELECT w.id, w.member_id, w.session_id, w.from_at, w.until_at,
		ARRAY(SELECT k.roll_id FROM waiting_rolls k WHERE k.lab_id = w.lab_id AND k.entry_id = w.id ORDER BY k.roll_id),
		CASE
			WHEN w.outcome IS NOT NULL THEN w.outcome
			WHEN b.held_until > $2 THEN 'offered'
			WHEN b.held_until <= $2 AND w.session_id IS NOT NULL THEN 'lapsed'
			ELSE 'waiting'
		END,
		CASE WHEN w.ended_at IS NULL AND b.id IS NULL THEN 1 + (
			SELECT count(*) FROM waiting_entries a
			WHERE a.lab_id = w.lab_id AND a.turn < w.turn AND a.ended_at IS NULL AND a.booking_id IS NULL AND ` + wishMet + `) END,
		CASE WHEN w.ended_at IS NOT NULL OR b.held_until > $2 THEN w.booking_id END,
		CASE WHEN w.ended_at IS NULL AND b.held_until > $2 THEN b.held_until END,
		w.passed, w.joined_at, w.ended_at, w.version
	FROM waiting_entries w
	LEFT JOIN bookings b ON b.lab_id = w.lab_id AND b.id = w.booking_id
	WHERE w.lab_id = $1`

// FindWaiting reads an entry that the member may see: their own, or any for a
// steward. It refuses with NotFound.
func FindWaiting(ctx context.Context, tx pgx.Tx, s lab.Scope, id string) (Waiting, error) {
	w, err := one[Waiting](ctx, tx, "waiting entry", waitingQuery+" AND w.id = $3", s.Lab.ID, s.Now, id)
	if err == nil && w.Member != s.By.ID && !s.By.Has(lab.RoleSteward) {
		err = lab.Refuse(lab.NotFound, "not-found", "there is no such waiting entry")
	}
	return w, err
}

// ListWaiting reads the entries that the member may see, oldest first: their
// own, or everybody's for a steward.
func ListWaiting(ctx context.Context, tx pgx.Tx, s lab.Scope, p lab.Page) (lab.List[Waiting], error) {
	member := s.By.ID
	if s.By.Has(lab.RoleSteward) {
		member = ""
	}
	items, err := many[Waiting](ctx, tx, "waiting entries", waitingQuery+`
			AND w.id > $3 AND ($4 = '' OR w.member_id = $4)
		ORDER BY w.id LIMIT $5`, s.Lab.ID, s.Now, p.After, member, p.Limit+1)
	if err != nil {
		return lab.List[Waiting]{}, err
	}
	return lab.Cut(items, p, func(w Waiting) string { return w.ID }), nil
}

// Wait puts rolls of one member on the waiting list, at its end; if there is a
// place for them already, and nobody before them takes it, it is offered at
// once. It refuses with
//
//   - invalid: neither a session nor a span, or both; a span that is over
//   - not-found, roll-already-booked, roll-not-on-shelf and others, as Book does
//   - session-over, session-cancelled, not-certified, session-taken
//   - roll-already-waiting
func Wait(ctx context.Context, tx pgx.Tx, s lab.Scope, in NewWaiting) (Waiting, error) {
	if err := in.check(s.Now); err != nil {
		return Waiting{}, err
	}
	if _, err := openBookings(ctx, tx, s, nothingMore); err != nil {
		return Waiting{}, err
	}
	rolls, err := bookable(ctx, tx, s, in.Rolls)
	if err != nil {
		return Waiting{}, err
	}
	if in.Session != nil {
		session, err := FindSession(ctx, tx, s, *in.Session)
		if err != nil {
			return Waiting{}, at("/session", err)
		}
		if err := session.open(s.Now); err != nil {
			return Waiting{}, err
		}
		if err := mayRun(ctx, tx, s, session, rolls[0].Member); err != nil && lab.RefusalCode(err) != "session-taken" {
			return Waiting{}, err
		}
	}
	var id string
	err = tx.QueryRow(ctx, `
		INSERT INTO waiting_entries (lab_id, id, member_id, session_id, from_at, until_at, joined_at)
		VALUES ($1, new_id('waiting', $2), $3, $4, $5, $6, $2) RETURNING id`,
		s.Lab.ID, s.Now, rolls[0].Member, in.Session, in.From, in.Until).Scan(&id)
	if err != nil {
		return Waiting{}, fmt.Errorf("wait: %w", err)
	}
	_, err = tx.Exec(ctx, `INSERT INTO waiting_rolls (lab_id, entry_id, roll_id) SELECT $1, $2, unnest($3::text[])`,
		s.Lab.ID, id, in.Rolls)
	if lab.Violates(err, lab.UniqueViolation, "waiting_rolls_once") {
		return Waiting{}, lab.Refuse(lab.Conflict, "roll-already-waiting", "one of the rolls waits already; leave that place in line first")
	}
	if err != nil {
		return Waiting{}, fmt.Errorf("wait: %w", err)
	}
	if err := forgetSeen(ctx, tx, s.Lab.ID); err != nil {
		return Waiting{}, err
	}
	if err := OfferPlaces(ctx, tx, s); err != nil {
		return Waiting{}, err
	}
	return FindWaiting(ctx, tx, s, id)
}

// check refuses a wish that no session could ever meet.
func (in NewWaiting) check(now time.Time) error {
	no := lab.Refuse(lab.Invalid, "invalid", "nobody can wait for that")
	span := in.From != nil || in.Until != nil
	switch {
	case in.Session != nil && span:
		_ = no.With("/session", "not-both", "want a session, or from and until")
	case in.Session == nil && in.From == nil:
		_ = no.With("/from", "required", "want a session, or from and until")
	case in.Session == nil && in.Until == nil:
		_ = no.With("/until", "required", "want a session, or from and until")
	case span && !in.Until.After(*in.From):
		_ = no.With("/until", "before-start", "ends at or before its start")
	case span && !in.Until.After(now):
		_ = no.With("/until", "over", "the span is over")
	case span && in.Until.Sub(now) > furthestSession:
		_ = no.With("/until", "out-of-range", "want an end within five years")
	}
	return no.OrNil()
}
