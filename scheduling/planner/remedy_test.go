package planner_test

import (
	"math/rand/v2"
	"testing"

	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

// A change that is said to place a roll does: planned with it, and the other
// rolls held where they were, all of them have a place, by the checker's word.
func TestVerifiedChangesPlaceTheRoll(t *testing.T) {
	t.Parallel()
	leftOut, named, verified := 0, 0, 0
	for seed := range uint64(200) {
		p := tiny(rand.New(rand.NewPCG(seed, 31)))
		p.Search.Iterations = 200
		plan, err := planner.Solve(t.Context(), p, nil)
		if err != nil {
			t.Fatal(err)
		}
		at := map[string]string{}
		for _, b := range plan.Batches {
			for _, pl := range b.Rolls {
				at[pl.Roll] = b.Session
			}
		}
		for _, out := range plan.LeftOut {
			leftOut++
			if (out.Change == "") != (out.Remedy == nil) {
				t.Errorf("problem %d: change %q, as data %+v", seed, out.Change, out.Remedy)
			}
			if out.Change != "" {
				named++
			}
			if out.Verified {
				verified++
				if !placeable(t, p, at, out) {
					t.Errorf("problem %d: with %s roll %s still has no place", seed, out.Change, out.Roll)
				}
			}
		}
	}
	t.Logf("%d rolls left out, a change named for %d, verified for %d", leftOut, named, verified)
	if verified == 0 {
		t.Error("no change was verified")
	}
}

// placeable plans the rolls placed, each held to its session, and the one left
// out, free, with the change made.
func placeable(t *testing.T, p *planner.Problem, at map[string]string, out planner.LeftOut) bool {
	t.Helper()
	var roll *planner.Roll
	for i := range p.Rolls {
		if p.Rolls[i].ID == out.Roll {
			roll = &p.Rolls[i]
		}
	}
	q := out.Remedy.Apply(p, roll)
	q.Pins, q.Bans, q.Rolls = nil, nil, nil
	for _, h := range p.Bans {
		if h.Roll == out.Roll {
			q.Bans = append(q.Bans, h)
		}
	}
	for _, r := range p.Rolls {
		switch {
		case r.ID == out.Roll:
			r.Weight = 1000
		case at[r.ID] == "":
			continue
		default:
			r.Booked = at[r.ID]
		}
		q.Rolls = append(q.Rolls, r)
	}
	plan, err := planner.Solve(t.Context(), q, nil)
	if err != nil {
		t.Errorf("with %s: %v", out.Change, err)
		return false
	}
	for _, v := range checker.Check(q, plan) {
		t.Errorf("with %s: %s", out.Change, v)
	}
	return len(plan.LeftOut) == 0
}
