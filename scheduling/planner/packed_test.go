package planner_test

import (
	"fmt"
	"testing"
	"time"

	"wetside/lab/units"
	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

// oneTank is rolls of a process in one tank of height 170, on reels of height
// 60, of which two fit: 2.83 by the sum of heights.
func oneTank(rolls int, process string) *planner.Problem {
	p := &planner.Problem{
		Horizon:  planner.Window{Start: monday, End: monday.AddDate(0, 0, 2)},
		Tanks:    []planner.Tank{{ID: "short", HeightMM: 170, VolumeML: 1500, Reels: []string{"medium"}, WarmUp: map[string]units.Duration{process: 20 * units.Minute}, CleanUp: 5 * units.Minute}},
		Reels:    []planner.ReelKind{{Kind: "medium", Count: 20, HeightMM: 60, SolutionML: 400, Loading: 5 * units.Minute}},
		Cabinets: []planner.Cabinet{{ID: "line", Positions: 100, Drying: 5 * units.Hour, Takes: map[string]int64{"strip": 1}}},
		Sessions: []planner.Session{{ID: "all-day", Tank: "short", Operator: "op", Window: planner.Window{Start: monday.Add(8 * time.Hour), End: monday.Add(20 * time.Hour)}}},
		Classes:  []planner.Class{{ID: process, Process: process, Wet: 30 * units.Minute, Steps: []planner.Step{{Role: "dev"}}}},
		Baths:    []planner.Bath{{ID: process, Role: "dev", VolumeML: 1500}},
		BathSets: []planner.BathSet{{ID: process, Processes: []string{process}, Baths: []string{process}}},
	}
	for i := range rolls {
		p.Rolls = append(p.Rolls, planner.Roll{ID: fmt.Sprint(process, i), Class: process, AreaMM2: 50_000, Reel: "medium", Hang: "strip", HandedIn: monday})
	}
	return p
}

// proved plans and wants these runs, everything proved.
func proved(t *testing.T, p *planner.Problem, want int64) *planner.Plan {
	t.Helper()
	plan, err := planner.Solve(t.Context(), p, nil)
	if err != nil {
		t.Fatal(err)
	}
	if v := checker.Check(p, plan); len(v) > 0 {
		t.Fatalf("the plan breaks a rule: %v", v)
	}
	if got := plan.Levels[3]; got.Value != want || got.Bound != want {
		t.Errorf("%d runs, at least %d, want %d", got.Value, got.Bound, want)
	}
	return plan
}

func TestAlikeRollsAreProvedAtEveryLevel(t *testing.T) {
	t.Parallel()
	plan := proved(t, oneTank(9, "c41"), 5)
	for _, l := range plan.Levels {
		if l.Value != l.Bound {
			t.Errorf("%s is %d, at least %d", l.Name, l.Value, l.Bound)
		}
	}
	if !plan.Complete || plan.Batches[0].Why == "" {
		t.Errorf("complete %t, why %q", plan.Complete, plan.Batches[0].Why)
	}
}

func TestAlikeRollsComeWhenHandedIn(t *testing.T) {
	t.Parallel()
	p := oneTank(9, "c41")
	for i := range 4 {
		p.Rolls[2*i].HandedIn = monday.Add(16 * time.Hour)
	}
	proved(t, p, 5)
}

// TestRunsBoundByPacking has two processes, so that the search at large plans:
// sums of heights say four runs and three, packing five and four.
func TestRunsBoundByPacking(t *testing.T) {
	t.Parallel()
	p, other := oneTank(9, "c41"), oneTank(7, "e6")
	p.Tanks[0].WarmUp["e6"] = 20 * units.Minute
	p.Classes, p.Baths, p.BathSets = append(p.Classes, other.Classes...), append(p.Baths, other.Baths...), append(p.BathSets, other.BathSets...)
	p.Rolls = append(p.Rolls, other.Rolls...)
	proved(t, p, 9)
}
