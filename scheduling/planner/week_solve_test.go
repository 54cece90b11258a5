package planner_test

import (
	"reflect"
	"testing"

	"wetside/lab/units"
	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

func TestSolveWeek(t *testing.T) {
	t.Parallel()
	for _, n := range []int{0, 1, 12, 40, 80} {
		p := week(n, 3)
		// However slow the machine: it is the steps that are to end the search.
		p.Search.Budget = units.Hour
		if n > 12 {
			p.Search.Iterations = 300 // by default thousands, which take seconds
		}
		if raceDetector {
			p.Search.Iterations = 99 // tens of times slower each
		}
		plan, err := planner.Solve(t.Context(), p, nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range checker.Check(p, plan) {
			t.Errorf("%d rolls: rule %d: %s", n, v.Rule, v.Detail)
		}
		if !plan.Complete {
			t.Errorf("%d rolls: the clock ended the search", n)
		}
		t.Logf("%d rolls: %+v, left out %d", n, plan.Levels, len(plan.LeftOut))
		again, err := planner.Solve(t.Context(), p, nil)
		if err != nil || !reflect.DeepEqual(plan, again) {
			t.Errorf("%d rolls: the same problem gave another plan, %v", n, err)
		}
	}
}
