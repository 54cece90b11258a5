package scheduling

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/units"
	"wetside/scheduling/planner"
)

// A Direction is the steward's word on a roll: a pin binds it to a session, a
// ban keeps it out of one or, with none named, out of every plan.
type Direction struct {
	ID      string    `json:"id"`
	Roll    string    `json:"roll"`
	Session *string   `json:"session,omitempty"`
	GivenBy string    `json:"given_by"`
	GivenAt time.Time `json:"given_at"`
}

// A DirectionKind is pin or ban.
type DirectionKind string

// The kinds of direction.
const (
	Pin DirectionKind = "pin"
	Ban DirectionKind = "ban"
)

// NewDirection is what it takes to give a Direction; a pin needs its session.
type NewDirection struct {
	Roll    string  `json:"roll"`
	Session *string `json:"session,omitempty"`
}

const directionColumns = `id, roll_id, session_id, given_by, given_at`

// Direct pins or bans a roll. It refuses with `directions-clash` what
// contradicts the roll's booking or what was directed before, and pins to a
// session that cannot take the roll: session-cancelled, session-over, invalid.
func Direct(ctx context.Context, tx pgx.Tx, s lab.Scope, kind DirectionKind, in NewDirection) (Direction, error) {
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return Direction{}, err
	}
	roll, err := FindRoll(ctx, tx, s, in.Roll)
	if err != nil {
		return Direction{}, at("/roll", err)
	}
	if roll.Status != OnShelf && roll.Status != Booked {
		return Direction{}, lab.Refuse(lab.Conflict, "roll-not-on-shelf", "the roll is %s", roll.Status)
	}
	if in.Session != nil {
		session, err := FindSession(ctx, tx, s, *in.Session)
		if err != nil {
			return Direction{}, at("/session", err)
		}
		if kind == Pin {
			if err := session.takes(roll, s.Now); err != nil {
				return Direction{}, err
			}
		}
	}
	if err := checkClash(ctx, tx, s, kind, roll, in.Session); err != nil {
		return Direction{}, err
	}
	if kind == Pin && roll.Session == nil {
		if err := checkTogether(ctx, tx, s, roll, *in.Session); err != nil {
			return Direction{}, err
		}
	}
	d, err := one[Direction](ctx, tx, "direction", `
		INSERT INTO directions (lab_id, id, kind, roll_id, session_id, given_by, given_at)
		VALUES ($1, new_id($2, $3), $2, $4, $5, $6, $3)
		RETURNING `+directionColumns, s.Lab.ID, string(kind), s.Now, in.Roll, in.Session, s.By.ID)
	if err != nil {
		return Direction{}, err
	}
	return d, lab.Touch(ctx, tx, s.Lab.ID)
}

// takes refuses what a pin could only keep out of every plan: a session that
// is called off or over, or that is for other processes than the roll's.
func (e Session) takes(roll Roll, now time.Time) error {
	if err := e.open(now); err != nil {
		return err
	}
	if !e.allows(roll.Process) {
		return lab.Refuse(lab.Invalid, "invalid", "the session is for other processes").
			With("/session", "process", "it is for %s, the roll needs %s", strings.Join(e.Processes, ", "), roll.Process)
	}
	return nil
}

func checkClash(ctx context.Context, tx pgx.Tx, s lab.Scope, kind DirectionKind, roll Roll, session *string) error {
	clash := func(with string) error {
		return lab.Refuse(lab.Conflict, "directions-clash", "the roll %s; take that back first", with)
	}
	same := func(other *string) bool { return other != nil && session != nil && *other == *session }
	if roll.Session != nil && (kind == Pin && !same(roll.Session) || kind == Ban && (session == nil || same(roll.Session))) {
		return clash("is booked in session " + *roll.Session)
	}
	others, err := many[struct {
		Kind    DirectionKind
		Session *string
	}](ctx, tx, "directions", `SELECT kind, session_id FROM directions WHERE lab_id = $1 AND roll_id = $2 ORDER BY id`,
		s.Lab.ID, roll.ID)
	if err != nil {
		return err
	}
	for _, o := range others {
		switch {
		case o.Kind == Pin && kind == Pin:
			return clash("is pinned already")
		case o.Kind == Pin && (session == nil || same(o.Session)):
			return clash("is pinned to session " + *o.Session)
		case o.Kind == Ban && kind == Pin && (o.Session == nil || same(o.Session)):
			return clash("is banned there")
		case o.Kind == Ban && kind == Ban && (o.Session == nil || same(o.Session)):
			return clash("is banned there already")
		}
	}
	return nil
}

// checkTogether refuses a pin that clashes with bookings and other pins: by the
// search that decides on bookings too, no plan, batches that have not begun
// planned anew, keeps them all. What cannot be kept even by itself, for want of a
// bath today, say, may be pinned.
func checkTogether(ctx context.Context, tx pgx.Tx, s lab.Scope, roll Roll, session string) error {
	sh, err := readShop(ctx, tx, s)
	if err != nil {
		return err
	}
	clash, err := sh.released().pinned(ctx, roll, session)
	if err != nil || clash == nil || !clash.Smallest || len(clash.Holds) < 2 {
		return err
	}
	no := lab.Refuse(lab.Conflict, "directions-clash", "no plan keeps this pin and %s; take one of them back first", others(len(clash.Holds)-1))
	for _, h := range clash.Holds {
		is := map[string]string{planner.HoldBooking: "booked", planner.HoldPin: "pinned"}[h.Kind]
		if h.Roll != roll.ID {
			_ = no.With("/session", "directions-clash", "roll %s is %s to session %s", h.Roll, is, h.Session)
		}
	}
	return no
}

// others words how many other bookings and pins there are.
func others(n int) string {
	if n == 1 {
		return "one other booking or pin"
	}
	return fmt.Sprintf("%d other bookings and pins", n)
}

// pinned finds what a pin of a roll would clash with, of all bookings and pins.
func (sh *shop) pinned(ctx context.Context, roll Roll, session string) (*planner.Clash, error) {
	if sh.tooFar(sh.sessions[session]) {
		return nil, nil
	}
	with := *sh
	with.pins = append(slices.Clone(sh.pins), Direction{Roll: roll.ID, Session: &session})
	rolls := slices.Clone(sh.booked)
	until := sh.s.Now
	for _, r := range rolls {
		until = later(until, sh.sessions[*r.Session].End)
	}
	for _, pin := range with.pins {
		at := slices.IndexFunc(sh.shelf, func(r Roll) bool { return r.ID == pin.Roll })
		if e, ok := sh.sessions[*pin.Session]; ok && at >= 0 && !sh.tooFar(e) {
			rolls, until = append(rolls, sh.shelf[at]), later(until, e.End)
		}
	}
	p := with.problem(sh.s.Now, until, rolls)
	p.Search.Budget = clashBudget
	clash, err := planner.FindClash(ctx, p, roll.ID)
	if err != nil {
		return nil, fmt.Errorf("plan for a pin: %w", err)
	}
	return clash, nil
}

// clashBudget is how long the steward waits for the clashes of a pin at most.
const clashBudget = 5 * units.Second

// ListDirections reads the pins or bans, oldest first.
func ListDirections(ctx context.Context, tx pgx.Tx, labID string, kind DirectionKind, p lab.Page) (lab.List[Direction], error) {
	items, err := many[Direction](ctx, tx, "directions", `
		SELECT `+directionColumns+` FROM directions WHERE lab_id = $1 AND kind = $2 AND id > $3 ORDER BY id LIMIT $4`,
		labID, string(kind), p.After, p.Limit+1)
	if err != nil {
		return lab.List[Direction]{}, err
	}
	return lab.Cut(items, p, func(d Direction) string { return d.ID }), nil
}

// Undirect takes a pin or ban back. It refuses with NotFound.
func Undirect(ctx context.Context, tx pgx.Tx, s lab.Scope, kind DirectionKind, id string) error {
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return err
	}
	tag, err := tx.Exec(ctx, `DELETE FROM directions WHERE lab_id = $1 AND kind = $2 AND id = $3`, s.Lab.ID, string(kind), id)
	if err != nil {
		return fmt.Errorf("take %s back: %w", kind, err)
	}
	if tag.RowsAffected() == 0 {
		return lab.Refuse(lab.NotFound, "not-found", "there is no such %s", kind)
	}
	return lab.Touch(ctx, tx, s.Lab.ID)
}
