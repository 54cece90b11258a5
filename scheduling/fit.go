package scheduling

import (
	"context"
	"fmt"
	"slices"
	"time"

	"wetside/scheduling/planner"
)

// A Misfit is one reason why a roll cannot have a place.
type Misfit struct {
	Roll   string
	Code   string
	Detail string
}

// misfit says why rolls cannot be booked in a session beside all that is
// booked and batched; nothing if they can. It is decided by planning: the
// booked rolls and these, each in its own session, by all the rules. Batches
// that are planned and have not begun may be batched anew for it (see
// NewPlan.Replan): a newcomer may join one that has room.
func (sh *shop) misfit(ctx context.Context, session Session, rolls []Roll) ([]Misfit, error) {
	asked := slices.Clone(rolls)
	for i := range asked {
		asked[i].Session = &session.ID
		if m, banned := sh.forbidden(asked[i], session); banned {
			return []Misfit{m}, nil
		}
	}
	left, err := sh.displaced(ctx, asked, session)
	if err != nil || len(left) == 0 {
		return nil, err
	}
	why := left
	if open, released := sh.release(sh.s.Now, endOfTime); len(released) > 0 {
		if why, err = open.displaced(ctx, asked, session); err != nil || len(why) == 0 {
			return nil, err
		}
	}
	// A breakdown may have displaced booked rolls already; that is not these rolls' doing.
	before, err := sh.displaced(ctx, nil, session)
	if err != nil {
		return nil, err
	}
	isAsked := func(id string) bool { return slices.ContainsFunc(asked, func(r Roll) bool { return r.ID == id }) }
	displaced := func(l planner.LeftOut) bool { return isAsked(l.Roll) }
	if len(left) <= len(before) && !slices.ContainsFunc(left, displaced) {
		return nil, nil
	}
	return misfits(why, before, asked, session.ID, isAsked), nil
}

// endOfTime is after every session.
var endOfTime = time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)

// misfits turns what the planner left out into reasons at the rolls asked for.
func misfits(left, before []planner.LeftOut, asked []Roll, session string, isAsked func(string) bool) []Misfit {
	var out []Misfit
	for _, l := range left {
		roll, prefix := l.Roll, ""
		if !isAsked(roll) {
			if slices.ContainsFunc(before, func(b planner.LeftOut) bool { return b.Roll == l.Roll }) {
				continue
			}
			// Only a roll that is booked already could give way: the last asked for stands for it.
			roll, prefix = asked[len(asked)-1].ID, "another's booking would lose its place: "
		}
		for _, r := range l.Reasons {
			m := Misfit{Roll: roll, Code: r.Code, Detail: prefix + r.Detail}
			// Of another's roll the reasons are in the session it is booked in.
			here := r.Session == "" || r.Session == session || !isAsked(l.Roll)
			if here && r.Code != planner.ReasonBookedElse && !slices.Contains(out, m) {
				out = append(out, m)
			}
		}
	}
	if len(out) == 0 {
		last := asked[len(asked)-1].ID
		out = append(out, Misfit{Roll: last, Code: "together", Detail: "each would fit, all together do not"})
	}
	return out
}

// displaced is what of the booked rolls and those asked for has no place.
func (sh *shop) displaced(ctx context.Context, asked []Roll, session Session) ([]planner.LeftOut, error) {
	until := session.End
	for _, r := range sh.booked {
		until = later(until, sh.sessions[*r.Session].End)
	}
	p := sh.problem(sh.s.Now, until, slices.Concat(sh.booked, asked))
	p.Pins, p.Bans = nil, nil
	for i := range p.Rolls {
		p.Rolls[i].Due, p.Rolls[i].Weight = nil, 1
	}
	fits, _, err := planner.Fits(ctx, p)
	if err != nil {
		return nil, fmt.Errorf("plan for a booking: %w", err)
	}
	if fits {
		return nil, nil
	}
	for i := len(sh.booked); i < len(p.Rolls); i++ {
		// Who is to go? A newcomer is kept to the session by bans from all others,
		// not by a booking: bookings come first, however many newcomers one would
		// make room for.
		p.Rolls[i].Booked = ""
		for _, e := range p.Sessions {
			if e.ID != session.ID {
				p.Bans = append(p.Bans, planner.Hold{Roll: p.Rolls[i].ID, Session: e.ID})
			}
		}
	}
	// Who goes, and why, is found soon; members wait for the answer.
	p.Search.UpTo, p.Search.Iterations = 2, 1000
	plan, err := planner.Solve(ctx, p, nil)
	if err != nil {
		return nil, fmt.Errorf("plan for a booking: %w", err)
	}
	return plan.LeftOut, nil
}

// forbidden says whether a session is not for a roll, whatever else is in it:
// for what it is, or by the steward's word.
func (sh *shop) forbidden(r Roll, e Session) (Misfit, bool) {
	session := e.ID
	if !e.allows(r.Process) {
		return Misfit{Roll: r.ID, Code: planner.ReasonNoSession, Detail: "the session is not for " + sh.processes[r.Process].Name}, true
	}
	if _, heats := sh.warmUp(sh.tank(e.Tank), r.Process); !heats {
		return Misfit{Roll: r.ID, Code: planner.ReasonNoSession, Detail: "the session's tank cannot be heated for " + sh.processes[r.Process].Name}, true
	}
	for _, b := range sh.bans {
		if b.Roll == r.ID && (b.Session == nil || *b.Session == session) {
			return Misfit{Roll: r.ID, Code: planner.ReasonBanned, Detail: "the steward keeps it out of this session"}, true
		}
	}
	for _, p := range sh.pins {
		if p.Roll == r.ID && *p.Session != session {
			return Misfit{Roll: r.ID, Code: planner.ReasonBookedElse, Detail: "the steward pinned it to another session"}, true
		}
	}
	return Misfit{}, false
}
