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
// takes a millisecond when the answer is true and up to a tenth of a second
// otherwise.
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
	bd := newBounds(m, sr.expired)
	complete := sr.hold(bd)
	return sr.bestWorth[displaced] == 0, sr.plan(&proofs{bd: bd, known: make(map[proofKey]int64)}, complete), nil
}

// hold looks for a plan that leaves out as few held rolls as can be, of a
// model with no others; it says whether it ended by itself.
func (sr *search) hold(bd *bounds) bool {
	sr.first()
	proved := func(w *worth) bool { return w[displaced] <= bd.first[displaced] }
	complete := sr.run(fitsSteps, proved)
	if complete && !proved(&sr.bestWorth) {
		complete = sr.exhaust()
	}
	return complete
}

// holdFirst begins again from a plan of the held rolls alone when the first
// plan leaves out more of them than need be.
func (sr *search) holdFirst(bd *bounds) {
	if sr.bestWorth[displaced] <= bd.first[displaced] || sr.expired() {
		return
	}
	held := sr.heldAlone()
	if held.bestWorth[displaced] >= sr.bestWorth[displaced] {
		return
	}
	sr.startFrom(held.best)
	copy(sr.s.mixFrom, sr.mixFrom)
	sr.ruinNothing()
	sr.rebuild(byDue, false)
	sr.accept()
}

// heldAlone is a search that has a plan of the held rolls alone, by their
// numbers among all rolls, whose order they keep.
func (sr *search) heldAlone() *search {
	held := newSearch(compile(heldOnly(sr.m.p)))
	held.expired = sr.expired
	held.hold(newBounds(held.m, held.expired))
	var index []int
	for i := range sr.m.rolls {
		if sr.m.rolls[i].held != noHold {
			index = append(index, i)
		}
	}
	for _, b := range held.best {
		for i, r := range b.rolls {
			b.rolls[i] = index[r]
		}
	}
	return held
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
	q.Bans = holdsOf(p.Bans, keep)
	return &q
}

// holdsOf are the holds of some rolls.
func holdsOf(holds []Hold, rolls map[string]bool) []Hold {
	var out []Hold
	for _, h := range holds {
		if rolls[h.Roll] {
			out = append(out, h)
		}
	}
	return out
}
