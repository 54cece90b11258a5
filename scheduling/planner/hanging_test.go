package planner_test

import (
	"testing"
	"time"

	"wetside/lab/units"
	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

// TestFinishKnowsWhatHangsLast has more film than hanging positions, in a tank that is
// done with a film every 40 min from 10:30 on, so that places are used twice, and no
// two become free together.
func TestFinishKnowsWhatHangsLast(t *testing.T) {
	t.Parallel()
	cabinet := planner.Cabinet{ID: "cabinet", Positions: 2, Drying: 4 * units.Hour, Takes: map[string]int64{"strip": 1}}
	line := planner.Cabinet{ID: "line", Positions: 1, Drying: 8 * units.Hour, Takes: map[string]int64{"strip": 1}}
	for _, row := range []struct {
		name     string
		rolls    int
		cabinets []planner.Cabinet
		last     time.Duration // end of the last run, by hand
	}{
		{"two positions", 4, []planner.Cabinet{cabinet}, 11*time.Hour + 10*time.Minute + 4*time.Hour},
		{"and one that is slow", 5, []planner.Cabinet{cabinet, line}, 11*time.Hour + 50*time.Minute + 4*time.Hour},
	} {
		t.Run(row.name, func(t *testing.T) {
			t.Parallel()
			p := evening(row.rolls)
			p.Sessions[0].Start, p.Sessions[0].End = monday.Add(10*time.Hour), monday.Add(17*time.Hour)
			p.Tanks[0].WarmUp, p.Tanks[0].HeightMM = nil, 40
			p.Reels[0].Count, p.Reels[0].Loading = 5, 0
			p.Cabinets = row.cabinets
			plan, err := planner.Solve(t.Context(), p, nil)
			if err != nil {
				t.Fatal(err)
			}
			for _, v := range checker.Check(p, plan) {
				t.Error(v)
			}
			want := int64((row.last + 4*time.Hour) / time.Second)
			if f := plan.Levels[4]; f.Value != want || !f.Proved() || len(plan.LeftOut) > 0 {
				t.Errorf("finish %d, proved %d, not %d; %d left out", f.Value, f.Bound, want, len(plan.LeftOut))
			}
		})
	}
}
