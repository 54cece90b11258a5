package checker_test

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

// restrict gives the problem with less of one thing, so that every plan for it
// is one for p too, and worth the same.
func restrict(d dice, p *planner.Problem) *planner.Problem {
	q := *p
	q.Search.Seed += 10
	switch d.amount(0, 4) {
	case 0:
		held := func(id string) bool {
			return slices.ContainsFunc(p.Pins, func(h planner.Hold) bool { return h.Roll == id })
		}
		q.Bans = slices.Clone(p.Bans)
		for _, r := range p.Rolls {
			if r.Booked == "" && !held(r.ID) && d.amount(0, 2) == 0 {
				q.Bans = append(q.Bans, hold(r.ID, pick(d, p.Sessions).ID))
			}
		}
	case 1:
		q.Reels = slices.Clone(p.Reels)
		k := &q.Reels[d.amount(0, int64(len(q.Reels)-1))]
		k.Count = d.amount(0, k.Count)
	case 2:
		q.Tanks = slices.Clone(p.Tanks)
		k := &q.Tanks[d.amount(0, int64(len(q.Tanks)-1))]
		k.HeightMM = d.amount(1, k.HeightMM)
	case 3:
		q.Cabinets = slices.Clone(p.Cabinets)
		k := &q.Cabinets[d.amount(0, int64(len(q.Cabinets)-1))]
		k.Positions = d.amount(0, k.Positions)
	case 4: // only another seed
	}
	return &q
}

// A bound is what no plan with the same values above it goes below: neither
// the plan it comes with nor any other that can be found.
func TestBoundsAreNotBeatenByOtherPlans(t *testing.T) {
	t.Parallel()
	compared := 0
	rapid.Check(t, func(t *rapid.T) {
		d := rapidDice(t)
		p := randomProblem(d)
		plan := solve(t, p)
		for range 4 {
			q := restrict(d, p)
			other := solve(t, q)
			if found := checker.Check(p, other); len(found) > 0 {
				t.Fatalf("a plan for less breaks a rule: %v", found)
			}
			for i, l := range plan.Levels {
				value := other.Levels[i].Value
				if value < l.Bound {
					t.Errorf("level %s: bound %d, another plan has %d\nproblem %s\nplan %s\nother %s",
						l.Name, l.Bound, value, dump(p), dump(plan), dump(other))
				}
				compared++
				if value != l.Value {
					break
				}
			}
		}
	})
	if compared == 0 {
		t.Error("nothing was compared")
	}
}
