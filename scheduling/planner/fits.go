package planner

import (
	"context"
	"time"
)

// fitsSteps is how long Fits improves before it enumerates.
const fitsSteps = 300

// Fits says whether all booked and pinned rolls can be placed together, and
// gives a plan of them alone: other rolls of p are not in it. When ok is false
// the plan leaves some out, with their reasons.
//
// True is certain. False is certain when the plan's first level is proved; for
// up to [exhaustRolls] rolls held to a session it also means that no grouping
// of them was found by enumeration, other sessions standing as in the plan. It
// takes milliseconds when the answer is true and some tens of them otherwise.
//
// It fails with *[InvalidError] when p is not valid.
func Fits(ctx context.Context, p *Problem) (ok bool, plan *Plan, err error) {
	if faults := p.Validate(); len(faults) > 0 {
		return false, nil, &InvalidError{Faults: faults}
	}
	m := compile(heldOnly(p))
	deadline := time.Now().Add(defaultBudget)
	if p.Search.Budget > 0 {
		deadline = time.Now().Add(p.Search.Budget.Std())
	}
	sr := newSearch(m)
	sr.expired = func() bool { return ctx.Err() != nil || time.Now().After(deadline) }
	bd := newBounds(m)
	sr.first()
	proved := func(w *worth) bool { return w[displaced] <= bd.first[displaced] }
	complete := sr.run(fitsSteps, proved, func(int64) {})
	if complete && !proved(&sr.bestWorth) {
		complete = sr.exhaust()
	}
	return sr.bestWorth[displaced] == 0, sr.plan(bd, complete), nil
}

// heldOnly is p with only its booked and pinned rolls.
func heldOnly(p *Problem) *Problem {
	q := *p
	keep := make(map[string]bool, len(p.Rolls))
	for _, h := range p.Pins {
		keep[h.Roll] = true
	}
	q.Rolls = nil
	for i := range p.Rolls {
		if r := &p.Rolls[i]; r.Booked != "" || keep[r.ID] {
			keep[r.ID] = true
			q.Rolls = append(q.Rolls, *r)
		}
	}
	q.Bans = nil
	for _, h := range p.Bans {
		if keep[h.Roll] {
			q.Bans = append(q.Bans, h)
		}
	}
	return &q
}
