package planner_test

import (
	"testing"

	"wetside/lab/units"
	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

// TestSweeps plans weeks with three times the rolls that their sessions can
// serve, without sweeps and with them: as few held rolls may be left out, and
// level 2 must come down by a seventh at least.
func TestSweeps(t *testing.T) {
	t.Parallel()
	weeks := uint64(2)
	if raceDetector {
		weeks = 1 // tens of times slower each
	}
	for seed := range weeks {
		p := overloaded(60, seed+1)
		p.Search.Budget, p.Search.UpTo = units.Hour, 2
		var late, displaced [2]int64
		for i, steps := range []int64{99, 100} { // with fewer than 100 there are no sweeps
			p.Search.Iterations = steps
			plan, err := planner.Solve(t.Context(), p, nil)
			if err != nil {
				t.Fatal(err)
			}
			for _, v := range checker.Check(p, plan) {
				t.Errorf("week %d: %s", seed, v)
			}
			displaced[i], late[i] = plan.Levels[0].Value, plan.Levels[1].Value
		}
		t.Logf("week %d: level 2 is %d by steps, %d with sweeps", seed, late[0], late[1])
		if displaced[1] > displaced[0] || late[1]*7 > late[0]*6 {
			t.Errorf("week %d: %d held rolls left out and level 2 is %d by steps, %d and %d with sweeps", seed, displaced[0], late[0], displaced[1], late[1])
		}
	}
}
