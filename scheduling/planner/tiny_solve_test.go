package planner_test

import (
	"math/rand/v2"
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
