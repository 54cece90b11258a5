package planner_test

import (
	"flag"
	"math/rand/v2"
	"testing"

	"wetside/scheduling/planner"
)

var tinyProblems = flag.Int("tiny", 250, "how many tiny problems to compare with enumeration")

// TestSolveAgainstEnumeration compares every level of tiny problems with the
// best there is: no plan may claim better, no bound may exceed it, and nearly
// all plans must reach it.
func TestSolveAgainstEnumeration(t *testing.T) {
	t.Parallel()
	best, proved, levels := 0, 0, 0
	seeds := []int{2519} // of which the bound of the finish was once too high
	for seed := range *tinyProblems {
		seeds = append(seeds, seed)
	}
	for _, seed := range seeds {
		p := tiny(rand.New(rand.NewPCG(uint64(seed), 11)))
		plan, err := planner.Solve(t.Context(), p, nil)
		if err != nil {
			t.Fatal(seed, err)
		}
		want := bestWorth(p)
		same := true
		for i, level := range plan.Levels {
			if !same {
				break // the levels below are of another problem
			}
			if level.Value < want[i] {
				t.Fatalf("problem %d: %s is %d, enumeration finds no better than %d", seed, level.Name, level.Value, want[i])
			}
			if level.Bound > want[i] {
				t.Fatalf("problem %d: the bound of %s is %d, there is a plan with %d", seed, level.Name, level.Bound, want[i])
			}
			same = level.Value == want[i]
			levels++
			if level.Proved() {
				proved++
			}
			if !same {
				t.Logf("problem %d: %s is %d, best %d", seed, level.Name, level.Value, want[i])
			}
		}
		if same {
			best++
		}
	}
	t.Logf("%d of %d plans are best at every level; %d of %d values are proved", best, len(seeds), proved, levels)
	if best*100 < len(seeds)*99 {
		t.Errorf("%d of %d plans are best, want 99 of 100", best, len(seeds))
	}
}
