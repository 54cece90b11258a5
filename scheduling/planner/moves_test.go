package planner_test

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"wetside/scheduling/planner"
)

// What a plan says has moved is what its last level counts, roll by roll.
func TestMovedIsWhatChangesCount(t *testing.T) {
	t.Parallel()
	moves := 0
	for seed := range uint64(120) {
		p := tiny(rand.New(rand.NewPCG(seed, 23)))
		p.Search.Iterations = 60
		plan, err := planner.Solve(t.Context(), p, nil)
		if err != nil {
			t.Fatal(err)
		}
		if int64(len(plan.Moved)) != plan.Levels[5].Value {
			t.Errorf("problem %d: %d rolls moved, level 6 is %d", seed, len(plan.Moved), plan.Levels[5].Value)
		}
		moves += len(plan.Moved)
		for _, m := range plan.Moved {
			if m.From == nil && m.To == nil || m.From != nil && m.To != nil && m.From.Session == m.To.Session {
				t.Errorf("problem %d: %+v is no move", seed, m)
			}
		}
		if d := planner.Compare(plan, plan); len(d.Moves) != 0 {
			t.Errorf("problem %d: a plan differs from itself by %v", seed, d.Moves)
		}
	}
	if moves == 0 {
		t.Error("nothing moved")
	}
}

func TestCompareTellsWhatMovedFromWhereToWhere(t *testing.T) {
	t.Parallel()
	p := evening(3)
	before, err := planner.Solve(t.Context(), p, nil)
	if err != nil {
		t.Fatal(err)
	}
	p.Bans = []planner.Hold{{Roll: "r01"}}
	after, err := planner.Solve(t.Context(), p, nil)
	if err != nil {
		t.Fatal(err)
	}
	d := planner.Compare(before, after)
	if len(d.Moves) != 1 || d.Moves[0].Roll != "r01" || d.Moves[0].To != nil || d.Moves[0].From.Session != "mon" || d.Moves[0].From.DryAt == nil {
		t.Fatalf("moves %+v", d.Moves)
	}
	if l := d.Levels[1]; l.Name != "lateness" || l.Before != 0 || l.After != 14 {
		t.Errorf("lateness %+v", l)
	}
	back := planner.Compare(after, before)
	if len(back.Moves) != 1 || back.Moves[0].From != nil || back.Moves[0].To.Session != "mon" {
		t.Errorf("the other way %+v", back.Moves)
	}
}

func TestBatchesSayWhyTheseRollsAndNotOthers(t *testing.T) {
	t.Parallel()
	cases := map[string]struct {
		rolls  int
		change func(p *planner.Problem)
		want   string // contained in the first batch's sentence
	}{
		"alone":        {1, func(*planner.Problem) {}, "1 roll of c41; no other roll could share the run"},
		"booked":       {1, func(p *planner.Problem) { p.Rolls[0].Booked = "mon" }, "1 held to this session"},
		"a full stack": {3, func(p *planner.Problem) { p.Tanks[0].HeightMM = 80 }, "beyond the tank's height"},
		"too much film": {3, func(p *planner.Problem) {
			p.Baths[0].RunMM2PerL = ptr(int64(70_000))
		}, "more film than the solution carries"},
		"handed in later": {2, func(p *planner.Problem) {
			p.Rolls[1].HandedIn = p.Sessions[0].Start.Add(90 * 60 * 1e9)
		}, "1 handed in too late"},
		"banned": {2, func(p *planner.Problem) { p.Bans = []planner.Hold{{Roll: "r01", Session: "mon"}} }, "1 kept out of the session"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := evening(c.rolls)
			c.change(p)
			plan, err := planner.Solve(t.Context(), p, nil)
			if err != nil || len(plan.Batches) == 0 {
				t.Fatalf("%+v, %v", plan, err)
			}
			if !slices.ContainsFunc(plan.Batches, func(b planner.Batch) bool { return strings.Contains(b.Why, c.want) }) {
				t.Errorf("%q, want %q in one", plan.Batches[0].Why, c.want)
			}
		})
	}
}
