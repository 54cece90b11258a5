package scheduling

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
)

// A Session is a bookable window of one tank, with an operator.
type Session struct {
	ID    string    `json:"id"`
	Tank  string    `json:"tank"`
	Start time.Time `json:"start"`
	End   time.Time `json:"end"`
	// Operator runs it; nobody yet in a self-service session that is not booked.
	Operator string      `json:"operator,omitempty"`
	Kind     SessionKind `json:"kind"`
	// Processes are those allowed; none named allows all.
	Processes   []string   `json:"processes"`
	CancelledAt *time.Time `json:"cancelled_at,omitempty"`
	// PlacesTaken is how many rolls are booked or batched in it.
	PlacesTaken int64 `json:"places_taken"`
	Version     int64 `json:"-"`
}

// Revision is the session's version, for conditional requests.
func (e Session) Revision() int64 { return e.Version }

// A SessionKind says who runs a session.
type SessionKind string

// The kinds of session.
const (
	// Attended is run by its operator, for all who book it.
	Attended SessionKind = "attended"
	// SelfService is run by the member who books it first, on a tank that they
	// are certified for, for their own rolls.
	SelfService SessionKind = "self_service"
)

// NewSession is what it takes to add a Session; Attended unless it says
// otherwise, and then without an operator.
type NewSession struct {
	Tank      string      `json:"tank"`
	Start     time.Time   `json:"start"`
	End       time.Time   `json:"end"`
	Operator  string      `json:"operator,omitempty"`
	Kind      SessionKind `json:"kind,omitempty"`
	Processes []string    `json:"processes"`
}

// sessionQuery selects sessions as a Session is scanned; $1 is the lab, $2 now.
// Who ran a self-service session by a hold that has lapsed runs it no more,
// whether or not that has been noted (handBack).
const sessionQuery = `
	SELECT e.id, e.tank_id, e.starts_at, e.ends_at,
	CASE WHEN e.operator_id IS NULL OR e.kind = 'self_service'
		AND NOT EXISTS (SELECT FROM bookings b JOIN booking_rolls k ON k.lab_id = b.lab_id AND k.booking_id = b.id AND k.live
			WHERE b.lab_id = e.lab_id AND b.session_id = e.id AND (b.confirmed_at IS NOT NULL OR b.held_until > $2))
		AND NOT EXISTS (SELECT FROM batches t WHERE t.lab_id = e.lab_id AND t.session_id = e.id AND t.status <> 'cancelled')
	THEN '' ELSE e.operator_id END,
	e.kind, e.processes, e.cancelled_at,
	(SELECT count(*) FROM (
		SELECT k.roll_id FROM bookings b
		JOIN booking_rolls k ON k.lab_id = b.lab_id AND k.booking_id = b.id AND k.live
		WHERE b.lab_id = e.lab_id AND b.session_id = e.id AND b.cancelled_at IS NULL
			AND (b.confirmed_at IS NOT NULL OR b.held_until > $2)
		UNION
		SELECT br.roll_id FROM batches t
		JOIN batch_rolls br ON br.lab_id = t.lab_id AND br.batch_id = t.id AND br.live
		WHERE t.lab_id = e.lab_id AND t.session_id = e.id) AS taken),
	e.version
	FROM sessions e WHERE e.lab_id = $1`

// longestSession bounds a session: a day.
const longestSession = 24 * time.Hour

// furthestSession is how far ahead a session may end.
const furthestSession = 5 * 365 * 24 * time.Hour

// AddSession adds a session outside the weekly openings. It refuses one that
// is over or longer than a day, and with `tank-taken` one that overlaps another
// of its tank.
func AddSession(ctx context.Context, tx pgx.Tx, s lab.Scope, in NewSession) (Session, error) {
	no := lab.Refuse(lab.Invalid, "invalid", "the session cannot be kept")
	if !in.End.After(in.Start) {
		_ = no.With("/end", "before-start", "ends at or before its start")
	}
	if in.End.Sub(in.Start) > longestSession {
		_ = no.With("/end", "too-long", "a session is a day at most")
	}
	if in.End.Sub(s.Now) > furthestSession {
		_ = no.With("/end", "out-of-range", "want an end within five years")
	}
	if err := no.OrNil(); err != nil {
		return Session{}, err
	}
	if !in.End.After(s.Now) {
		return Session{}, lab.Refuse(lab.Conflict, "session-over", "that session would be over already")
	}
	if err := in.checkKind(); err != nil {
		return Session{}, err
	}
	if err := checkSessionParts(ctx, tx, s, in.Tank, in.Operator, in.Processes); err != nil {
		return Session{}, err
	}
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return Session{}, err
	}
	made, err := insertSession(ctx, tx, s, in, nil)
	if err != nil {
		return Session{}, err
	}
	if err := lab.Touch(ctx, tx, s.Lab.ID); err != nil {
		return Session{}, err
	}
	if err := OfferPlaces(ctx, tx, s); err != nil {
		return Session{}, err
	}
	return FindSession(ctx, tx, s, made.ID)
}

// checkKind refuses an attended session that nobody runs, and a self-service
// session that somebody does before a member has booked it.
func (in NewSession) checkKind() error {
	no := lab.Refuse(lab.Invalid, "invalid", "the session cannot be kept")
	switch in.Kind {
	case "", Attended:
		if in.Operator == "" {
			_ = no.With("/operator", "required", "an attended session has an operator")
		}
	case SelfService:
		if in.Operator != "" {
			_ = no.With("/operator", "not-yet", "a self-service session is run by the member who books it")
		}
	default:
		_ = no.With("/kind", "not-one-of", "want attended or self_service")
	}
	return no.OrNil()
}

// checkSessionParts refuses a tank, operator or process that the lab does not
// have, and a guest as operator; no operator is none.
func checkSessionParts(ctx context.Context, tx pgx.Tx, s lab.Scope, tank, operator string, processes []string) error {
	no := lab.Refuse(lab.Invalid, "invalid", "the session cannot be run like this")
	known := func(pointer, what string, err error) error {
		if lab.RefusalCode(err) == "" {
			return err
		}
		_ = no.With(pointer, "unknown", "the lab has no such %s", what)
		return nil
	}
	_, noTank := lab.FindTank(ctx, tx, s.Lab.ID, tank)
	var noMember error
	if operator != "" {
		noMember = checkOperator(ctx, tx, s, operator, no)
	}
	if err := errors.Join(known("/tank", "tank", noTank), known("/operator", "member", noMember)); err != nil {
		return err
	}
	for i, code := range processes {
		_, err := chemistry.FindProcess(ctx, tx, s.Lab.ID, code, 0)
		if err := known(fmt.Sprintf("/processes/%d", i), "process", err); err != nil {
			return err
		}
	}
	return no.OrNil()
}

// insertSession adds a session, of an opening's day unless that is nil.
func insertSession(ctx context.Context, tx pgx.Tx, s lab.Scope, in NewSession, of *occurrence) (Session, error) {
	var id string
	var opening, day any
	if of != nil {
		opening, day = of.opening.ID, of.day
	}
	err := tx.QueryRow(ctx, `
		INSERT INTO sessions (lab_id, id, tank_id, operator_id, during, processes, opening_id, occurs_on, kind)
		VALUES ($1, new_id('session', $2), $3, nullif($4, ''), tstzrange($5, $6, '[)'), $7, $8, $9, coalesce(nullif($10, ''), 'attended'))
		RETURNING id`,
		s.Lab.ID, s.Now, in.Tank, in.Operator, in.Start, in.End, nonNil(in.Processes), opening, day, string(in.Kind)).Scan(&id)
	if lab.Violates(err, lab.ExclusionViolation, "sessions_tank_free") {
		return Session{}, lab.Refuse(lab.Conflict, "tank-taken", "the tank has another session at that time")
	}
	if err != nil {
		return Session{}, fmt.Errorf("add session: %w", err)
	}
	return FindSession(ctx, tx, s, id)
}

// FindSession reads a session. It refuses with NotFound.
func FindSession(ctx context.Context, tx pgx.Tx, s lab.Scope, id string) (Session, error) {
	return one[Session](ctx, tx, "session", sessionQuery+" AND e.id = $3", s.Lab.ID, s.Now, id)
}

// ListSessions reads the sessions that overlap [from, until), by start;
// cancelled ones too. Its cursor is a session's id.
func ListSessions(ctx context.Context, tx pgx.Tx, s lab.Scope, from, until time.Time, p lab.Page) (lab.List[Session], error) {
	items, err := many[Session](ctx, tx, "sessions", sessionQuery+`
			AND e.starts_at < $4 AND e.ends_at > $3 AND e.starts_at > $3::timestamptz - interval '1 day' -- none is longer
			AND ($5 = '' OR (e.starts_at, e.id) >
				(SELECT c.starts_at, c.id FROM sessions c WHERE c.lab_id = $1 AND c.id = $5))
		ORDER BY e.starts_at, e.id LIMIT $6`, s.Lab.ID, s.Now, from, until, p.After, p.Limit+1)
	if err != nil {
		return lab.List[Session]{}, err
	}
	return lab.Cut(items, p, func(e Session) string { return e.ID }), nil
}

// CancelSession cancels a session. While rolls are booked or batched in it, it
// refuses with `session-booked`: their members must be moved first.
func CancelSession(ctx context.Context, tx pgx.Tx, s lab.Scope, id string, version int64) (Session, error) {
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return Session{}, err
	}
	e, err := FindSession(ctx, tx, s, id)
	switch {
	case err != nil:
		return Session{}, err
	case e.Version != version:
		return Session{}, stale("session")
	case e.CancelledAt != nil:
		return Session{}, lab.Refuse(lab.Conflict, "session-cancelled", "the session is cancelled already")
	case e.PlacesTaken > 0:
		return Session{}, lab.Refuse(lab.Conflict, "session-booked",
			"%d rolls are booked or batched in the session; move them first", e.PlacesTaken)
	}
	if _, err := tx.Exec(ctx, `UPDATE sessions SET cancelled_at = $3, version = version + 1 WHERE lab_id = $1 AND id = $2`,
		s.Lab.ID, id, s.Now); err != nil {
		return Session{}, fmt.Errorf("cancel session: %w", err)
	}
	if err := lab.Touch(ctx, tx, s.Lab.ID); err != nil {
		return Session{}, err
	}
	return FindSession(ctx, tx, s, id)
}

// open refuses what can no longer be put into the session at now, with
// session-cancelled or session-over.
func (e Session) open(now time.Time) error {
	switch {
	case e.CancelledAt != nil:
		return lab.Refuse(lab.Conflict, "session-cancelled", "the session is cancelled").
			With("/session", "session-cancelled", "called off at %s", e.CancelledAt.Format(time.RFC3339))
	case !e.End.After(now):
		return lab.Refuse(lab.Conflict, "session-over", "the session is over").
			With("/session", "session-over", "over since %s", e.End.Format(time.RFC3339))
	}
	return nil
}

// allows says whether the session is for a process.
func (e Session) allows(process string) bool {
	return len(e.Processes) == 0 || slices.Contains(e.Processes, process)
}
