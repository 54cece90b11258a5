package scheduling

import (
	"cmp"
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

// A fitting is what came of trying rolls in a session beside all that is booked.
type fitting struct {
	// plan is one that has the rolls in the session; nil if there is none.
	plan *planner.Plan
	// why says why not, where that was asked for.
	why []Misfit
}

// misfit says why rolls cannot be booked in a session beside all that is
// booked and batched; nothing if they can.
func (sh *shop) misfit(ctx context.Context, session Session, rolls []Roll) ([]Misfit, error) {
	f, err := sh.try(ctx, session, rolls, true)
	return f.why, err
}

// try decides by planning whether rolls can be booked in a session: the booked
// rolls and these, each in its own session, by all the rules. Batches that are
// planned and have not begun may be batched anew for it (see NewPlan.Replan): a
// newcomer may join one that has room. The answer does not depend on the order
// of the rolls. Reasons are looked for only if explain says so: they take longer
// than the answer.
func (sh *shop) try(ctx context.Context, session Session, rolls []Roll, explain bool) (fitting, error) {
	asked := slices.Clone(rolls)
	slices.SortFunc(asked, func(a, b Roll) int { return cmp.Compare(a.ID, b.ID) })
	for i := range asked {
		asked[i].Session = &session.ID
		if m, banned := sh.forbidden(asked[i], session); banned {
			return fitting{why: []Misfit{m}}, nil
		}
	}
	defer sh.runBy(session, asked[0].Member)()
	plan, all, err := sh.fits(ctx, asked, session)
	if all || err != nil {
		return fitting{plan: plan}, err
	}
	best := plan
	open := sh.released()
	if open != sh {
		if best, all, err = open.fits(ctx, asked, session); all || err != nil {
			return fitting{plan: best}, err
		}
	}
	// A breakdown may have displaced booked rolls already; that is not these rolls' doing.
	before, err := sh.displacedBefore(ctx)
	if err != nil {
		return fitting{}, err
	}
	isAsked := func(id string) bool { return slices.ContainsFunc(asked, func(r Roll) bool { return r.ID == id }) }
	if len(before) > 0 {
		if plan == nil {
			if plan, err = sh.displacing(ctx, asked, session); err != nil {
				return fitting{}, err
			}
		}
		if len(plan.LeftOut) <= len(before) &&
			!slices.ContainsFunc(plan.LeftOut, func(l planner.LeftOut) bool { return isAsked(l.Roll) }) {
			return fitting{plan: plan}, nil
		}
	}
	if !explain {
		return fitting{}, nil
	}
	if best == nil {
		if best, err = open.displacing(ctx, asked, session); err != nil {
			return fitting{}, err
		}
	}
	return fitting{why: misfits(best.LeftOut, before, asked, session.ID, isAsked)}, nil
}

// runBy has a member run a session that nobody runs yet, as one who books it
// would, until the function it gives is called.
func (sh *shop) runBy(session Session, member string) (undo func()) {
	e, ok := sh.sessions[session.ID]
	if !ok || e.Kind != SelfService || e.Operator != "" {
		return func() {}
	}
	was := e
	e.Operator = member
	sh.sessions[session.ID] = e
	return func() { sh.sessions[session.ID] = was }
}

// released is the shop with planned batches that have not begun taken apart,
// or the shop itself if there is none.
func (sh *shop) released() *shop {
	if sh.opened == nil {
		open, released := sh.release(sh.s.Now, endOfTime, true)
		if len(released) == 0 {
			open = sh
		}
		sh.opened = open
	}
	return sh.opened
}

// displacedBefore is what of the booked rolls has no place, whoever else comes.
func (sh *shop) displacedBefore(ctx context.Context) ([]planner.LeftOut, error) {
	if sh.before != nil || len(sh.booked) == 0 {
		return sh.before, nil
	}
	last := sh.sessions[*sh.booked[0].Session]
	plan, all, err := sh.fits(ctx, nil, last)
	if err != nil {
		return nil, err
	}
	sh.before = []planner.LeftOut{}
	if !all {
		if plan == nil {
			if plan, err = sh.displacing(ctx, nil, last); err != nil {
				return nil, err
			}
		}
		sh.before = plan.LeftOut
	}
	return sh.before, nil
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

// fits says whether all the booked rolls and those asked for can be placed in
// their sessions. It gives a plan that has them all, or the best that was
// found; none where it is proved without one that not all can be.
func (sh *shop) fits(ctx context.Context, asked []Roll, session Session) (plan *planner.Plan, all bool, err error) {
	all, plan, err = planner.Fits(ctx, sh.bookings(asked, session))
	switch {
	case err != nil:
		return nil, false, fmt.Errorf("plan for a booking: %w", err)
	case all:
		return plan, true, nil
	case plan.Levels[0].Proved():
		return nil, false, nil
	}
	plan, err = sh.displacing(ctx, asked, session)
	return plan, err == nil && len(plan.LeftOut) == 0, err
}

// displacing gives a plan that leaves out few of the booked rolls and those
// asked for, with the reasons.
func (sh *shop) displacing(ctx context.Context, asked []Roll, session Session) (*planner.Plan, error) {
	p := sh.bookings(asked, session)
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
	p.Search.UpTo, p.Search.Iterations = 2, 99 // too few for relaxations
	plan, err := planner.Solve(ctx, p, nil)
	if err != nil {
		return nil, fmt.Errorf("plan for a booking: %w", err)
	}
	return plan, nil
}

// bookings is the problem of placing the booked rolls and those asked for in
// their sessions, all of one weight.
func (sh *shop) bookings(asked []Roll, session Session) *planner.Problem {
	until := session.End
	for _, r := range sh.booked {
		until = later(until, sh.sessions[*r.Session].End)
	}
	p := sh.problem(sh.s.Now, until, slices.Concat(sh.booked, asked))
	p.Pins, p.Bans = nil, nil
	for i := range p.Rolls {
		p.Rolls[i].Due, p.Rolls[i].Weight = nil, 1
	}
	return p
}

// forbidden says whether a session is not for a roll, whatever else is in it:
// for what it is, or by the steward's word.
func (sh *shop) forbidden(r Roll, e Session) (Misfit, bool) {
	session := e.ID
	if sh.tooFar(e) {
		return Misfit{Roll: r.ID, Code: planner.ReasonNoSession, Detail: "the session is more than a year ahead"}, true
	}
	if !e.allows(r.Process) {
		return Misfit{Roll: r.ID, Code: planner.ReasonNoSession, Detail: "the session is not for " + sh.processes[r.Process].Name}, true
	}
	if _, heats := sh.warmUp(sh.tank(e.Tank), r.Process); !heats {
		return Misfit{Roll: r.ID, Code: planner.ReasonNoSession, Detail: "the session's tank cannot be heated for " + sh.processes[r.Process].Name}, true
	}
	if e.Kind == SelfService && e.Operator != "" && e.Operator != r.Member {
		return Misfit{Roll: r.ID, Code: planner.ReasonNoSession, Detail: "another member runs the session"}, true
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
