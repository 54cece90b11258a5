package planner_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

func TestSolveKeepsEveryRule(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := tiny(rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "problem"), 3)))
		p.Search.Iterations = 60
		plan, err := planner.Solve(t.Context(), p, nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range checker.Check(p, plan) {
			t.Errorf("rule %d, batch %s, roll %s: %s", v.Rule, v.Batch, v.Roll, v.Detail)
		}
		for _, out := range plan.LeftOut {
			if len(out.Reasons) == 0 {
				t.Errorf("roll %s is left out without a reason", out.Roll)
			}
		}
	})
}

func TestSolveKeepsEveryRuleOfAWeek(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := week(rapid.IntRange(1, 60).Draw(t, "rolls"), rapid.Uint64().Draw(t, "week"))
		p.Search.Iterations = 10
		// A batch of an earlier plan stands, now and then.
		if rapid.Bool().Draw(t, "freeze") {
			before, err := planner.Solve(t.Context(), p, nil)
			if err != nil {
				t.Fatal(err)
			}
			freeze(p, before)
		}
		plan, err := planner.Solve(t.Context(), p, nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range checker.Check(p, plan) {
			t.Errorf("rule %d, batch %s, roll %s: %s", v.Rule, v.Batch, v.Roll, v.Detail)
		}
	})
}

// freeze makes the first half of a plan's batches stand, and the rest of it
// the plan before.
func freeze(p *planner.Problem, plan *planner.Plan) {
	for i, b := range plan.Batches {
		f := planner.FrozenBatch{Batch: b}
		for _, pl := range b.Rolls {
			at := slices.IndexFunc(p.Rolls, func(r planner.Roll) bool { return r.ID == pl.Roll })
			if i < len(plan.Batches)/2 {
				f.Films = append(f.Films, p.Rolls[at])
				p.Rolls = slices.Delete(p.Rolls, at, at+1)
			} else {
				p.Previous = append(p.Previous, planner.Hold{Roll: pl.Roll, Session: b.Session})
			}
		}
		if f.Films != nil {
			p.Frozen = append(p.Frozen, f)
		}
	}
}
