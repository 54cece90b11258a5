package scheduling

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"wetside/lab"
	"wetside/scheduling/planner"
)

// within says whether a booked or pinned session is in a plan's span.
func (sh *shop) within(in NewPlan, session string) bool {
	e, ok := sh.sessions[session]
	return ok && e.Start.Before(in.Until) && e.End.After(in.From) && e.End.After(sh.s.Now)
}

// solveWeek plans a span's problem, and sees that what is booked outside it still
// fits beside the plan. Where it would not, the plan is made once more, with all
// that the bookings outside need kept for them alone (apart, see week).
func (sh *shop) solveWeek(ctx context.Context, in NewPlan, p *planner.Problem) (*planner.Problem, *planner.Plan, error) {
	for apart := false; ; apart = true {
		plan, err := planner.Solve(ctx, p, in.Progress)
		if err != nil {
			return nil, nil, fmt.Errorf("plan: %w", err)
		}
		if err := judge(p, plan); err != nil {
			return nil, nil, err
		}
		if apart {
			return p, plan, nil
		}
		if kept, err := sh.keeps(ctx, in, p, plan); kept || err != nil {
			return p, plan, err
		}
		previous := p.Previous
		if p, err = sh.week(ctx, in, true); err != nil {
			return nil, nil, err
		}
		p.Previous = previous
	}
}

// keeps says whether a span's plan leaves no booking outside the span without
// its place that has one now.
func (sh *shop) keeps(ctx context.Context, in NewPlan, p *planner.Problem, plan *planner.Plan) (bool, error) {
	if !slices.ContainsFunc(p.Frozen, func(f planner.FrozenBatch) bool { return f.BathSet == awaited }) {
		return true, nil // what is set aside is the proof
	}
	outside := func(l planner.LeftOut) bool {
		r := sh.roll(l.Roll)
		return r != nil && r.Session != nil && !sh.within(in, *r.Session)
	}
	before, err := sh.displacedBefore(ctx)
	if err != nil {
		return false, err
	}
	then := *sh
	then.opened, then.before, then.booked, then.standing = nil, nil, nil, slices.Clone(sh.standing)
	for _, r := range sh.booked {
		if !sh.within(in, *r.Session) {
			then.booked = append(then.booked, r)
		}
	}
	for _, b := range plan.Batches {
		then.standing = append(then.standing, sh.stands(p, b))
	}
	after, err := then.displacedBefore(ctx)
	return len(after) <= count(before, outside), err
}

func count[T any](items []T, is func(T) bool) (n int) {
	for _, x := range items {
		if is(x) {
			n++
		}
	}
	return n
}

// stands is a plan's batch as it will stand once that is committed.
func (sh *shop) stands(p *planner.Problem, b planner.Batch) standing {
	st := standing{placed: b}
	for _, c := range p.Classes {
		if c.ID == b.Class {
			st.dev = c.Developing
		}
	}
	for _, pl := range b.Rolls {
		film := *sh.roll(pl.Roll)
		st.films = append(st.films, film)
		if slices.ContainsFunc(p.Rolls, func(r planner.Roll) bool { return r.ID == pl.Roll && r.Class == b.Class }) {
			st.push = film.Push
		}
	}
	return st
}

// week is the problem of a plan's span: what is booked in it and what is on
// the shelf. What bookings outside it need is set aside first: as a plan of all
// that is booked has it, where each has the place that its booking proved, or,
// apart, as if nothing were booked within the span.
func (sh *shop) week(ctx context.Context, in NewPlan, apart bool) (*planner.Problem, error) {
	var rolls, elsewhere []Roll
	for _, r := range sh.booked {
		if sh.within(in, *r.Session) {
			rolls = append(rolls, r)
		} else {
			elsewhere = append(elsewhere, r)
		}
	}
	for _, r := range sh.shelf {
		at := slices.IndexFunc(sh.pins, func(p Direction) bool { return p.Roll == r.ID })
		if at < 0 || sh.within(in, *sh.pins[at].Session) {
			r.Session = nil
			rolls = append(rolls, r)
		}
	}
	if len(rolls) > planner.MaxRolls {
		return nil, lab.Refuse(lab.Conflict, "too-many-rolls", "%d rolls are more than one plan takes (%d)", len(rolls), planner.MaxRolls)
	}
	set, err := sh.setAside(ctx, elsewhere, apart)
	if err != nil {
		return nil, err
	}
	p := sh.problem(in.From, in.Until, rolls)
	p.Frozen = append(p.Frozen, set.Frozen[len(p.Frozen):]...)
	for i := range p.Cabinets {
		maps.Copy(p.Cabinets[i].Takes, set.Cabinets[i].Takes)
	}
	p.Classes = unite(p.Classes, set.Classes, func(c planner.Class) string { return c.ID })
	p.BathSets = unite(p.BathSets, set.BathSets, func(b planner.BathSet) string { return b.ID })
	awaitKits(p)
	p.Search = planner.Search{Seed: in.Seed, Budget: in.Budget, Iterations: in.Iterations}
	return p, nil
}

// setAside plans what is booked, of which some rolls are outside the span, and
// freezes the batches that those would make, so that a plan does not spend what
// was promised to them. Apart, it plans only those.
func (sh *shop) setAside(ctx context.Context, outside []Roll, apart bool) (*planner.Problem, error) {
	if len(outside) == 0 {
		return sh.problem(sh.s.Now, sh.s.Now.Add(time.Hour), nil), nil
	}
	all := *sh
	all.before = nil
	if apart {
		all.booked = outside
	}
	last := sh.sessions[*outside[0].Session]
	plan, _, err := all.fits(ctx, nil, last)
	if err == nil && plan == nil {
		plan, err = all.displacing(ctx, nil, last)
	}
	if err != nil {
		return nil, fmt.Errorf("set aside: %w", err)
	}
	p := all.bookings(nil, last)
	for _, b := range plan.Batches {
		f := planner.FrozenBatch{Batch: b, Films: []planner.Roll{}}
		f.ID = "promised-" + b.ID
		isOutside := false
		for _, pl := range b.Rolls {
			at := slices.IndexFunc(p.Rolls, func(r planner.Roll) bool { return r.ID == pl.Roll })
			film := p.Rolls[at]
			isOutside = isOutside || slices.ContainsFunc(outside, func(r Roll) bool { return r.ID == pl.Roll })
			film.Booked = ""
			f.Films = append(f.Films, film)
		}
		if isOutside {
			p.Frozen = append(p.Frozen, f)
		}
	}
	return p, nil
}

// unite adds to a what b has beside it.
func unite[T any](a, b []T, id func(T) string) []T {
	for _, x := range b {
		if !slices.ContainsFunc(a, func(y T) bool { return id(y) == id(x) }) {
			a = append(a, x)
		}
	}
	return a
}
