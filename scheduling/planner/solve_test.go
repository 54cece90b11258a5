package planner_test

import (
	"context"
	"testing"
	"time"

	"wetside/lab/units"
	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

func TestSolveEndsWithItsContext(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	p := week(40, 1)
	plan, err := planner.Solve(ctx, p, nil)
	if err != nil || plan.Complete {
		t.Fatalf("an ended context: complete %v, %v", plan.Complete, err)
	}
	if v := checker.Check(p, plan); len(v) > 0 {
		t.Errorf("what it had by then breaks %v", v)
	}
}

func TestSolveEndsWithItsBudget(t *testing.T) {
	t.Parallel()
	p := week(80, 2)
	p.Search = planner.Search{Budget: units.Second, Iterations: 50_000_000}
	began := time.Now()
	plan, err := planner.Solve(t.Context(), p, nil)
	if err != nil || plan.Complete || len(plan.Batches) == 0 {
		t.Fatalf("complete %v with %d batches, %v", plan.Complete, len(plan.Batches), err)
	}
	if took := time.Since(began); took > 10*time.Second {
		t.Errorf("a budget of 1 s took %s", took)
	}
}

func TestSolveReportsEachBetterPlan(t *testing.T) {
	t.Parallel()
	var seen []planner.Progress
	p := week(40, 2)
	p.Search.Iterations = 500
	plan, err := planner.Solve(t.Context(), p, func(pr planner.Progress) { seen = append(seen, pr) })
	if err != nil || len(seen) < 2 {
		t.Fatalf("%d reports, %v", len(seen), err)
	}
	for i, pr := range seen[1:] {
		if same := pr.Levels == seen[i].Levels; pr.Iterations < seen[i].Iterations || !same && !better(pr.Levels, seen[i].Levels) || same && pr.Bounds == seen[i].Bounds {
			t.Errorf("report %v after %v", pr, seen[i])
		}
		for level, bound := range pr.Bounds {
			if bound > pr.Levels[level] {
				t.Errorf("%s is %d, its bound %d", planner.LevelNames[level], pr.Levels[level], bound)
			}
		}
	}
	for i, l := range plan.Levels {
		if want := seen[len(seen)-1].Levels[i]; l.Value > want && better(seen[len(seen)-1].Levels, values(plan)) {
			t.Errorf("the plan has %s %d, the last report %d", l.Name, l.Value, want)
		}
	}
}

func values(plan *planner.Plan) (v [6]int64) {
	for i, l := range plan.Levels {
		v[i] = l.Value
	}
	return v
}

func better(a, b [6]int64) bool {
	for i := range a {
		if a[i] != b[i] {
			return a[i] < b[i]
		}
	}
	return false
}

// TestSolveUpTo stops at once when the levels asked for are proved.
func TestSolveUpTo(t *testing.T) {
	t.Parallel()
	p := week(40, 1)
	p.Search.UpTo, p.Search.Iterations = 1, 100_000_000
	plan, err := planner.Solve(t.Context(), p, nil)
	if err != nil || !plan.Complete || !plan.Levels[0].Proved() {
		t.Errorf("%+v, %v", plan.Levels, err)
	}
}

// TestSolveMixesLateWhenTheBathMustLast has a kit whose bath lives too short
// for a Tuesday session if it is mixed when Monday's begins.
func TestSolveMixesLateWhenTheBathMustLast(t *testing.T) {
	t.Parallel()
	p := evening(2)
	tue := p.Sessions[0]
	tue.ID, tue.Window = "tue", planner.Window{Start: monday.Add(42 * time.Hour), End: monday.Add(44 * time.Hour)}
	p.Sessions = append(p.Sessions, tue)
	p.Rolls[0].Booked, p.Rolls[1].Booked = "mon", "tue"
	p.BathSets[0].Mix = &planner.Mix{Kit: "kit", PriceMinor: 1000, Takes: 10 * units.Minute}
	p.Baths[0].Life = ptr(24 * units.Hour)
	plan, err := planner.Solve(t.Context(), p, nil)
	if err != nil || len(plan.Batches) != 2 || !plan.Batches[0].Mixes {
		t.Fatalf("%+v, %v", plan, err)
	}
	if v := checker.Check(p, plan); len(v) > 0 {
		t.Errorf("it breaks %v", v)
	}
}
