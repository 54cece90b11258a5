package planner_test

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"wetside/lab/units"
	"wetside/scheduling/planner"
)

func TestGainsOfOneMoreReelSessionOrKitMixed(t *testing.T) {
	t.Parallel()
	cases := map[string]struct {
		rolls  int
		change func(p *planner.Problem)
		kind   string
		level  int
		placed int
	}{
		"a reel": {5, func(p *planner.Problem) { p.Tanks[0].HeightMM = 300 }, planner.RemedyReel, 1, 1},
		"a session": {9, func(p *planner.Problem) {
			p.Cabinets[0].Positions = 20
		}, planner.RemedySession, 1, 4},
		"mixing now": {1, func(p *planner.Problem) {
			p.BathSets[0].Mix = &planner.Mix{Kit: "kit", PriceMinor: 900, Takes: 75 * units.Minute}
		}, planner.GainMixing, 1, 1},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := evening(c.rolls)
			c.change(p)
			plan, err := planner.Solve(t.Context(), p, nil)
			if err != nil {
				t.Fatal(err)
			}
			gains, complete, err := planner.Gains(t.Context(), p, plan)
			if err != nil || !complete {
				t.Fatalf("complete %v, %v", complete, err)
			}
			i := slices.IndexFunc(gains, func(g planner.Gain) bool { return g.Kind == c.kind })
			if i < 0 {
				t.Fatalf("no gain of a %s: %+v", c.kind, gains)
			}
			g := gains[i]
			if l := g.Levels[c.level]; !g.Better || l.After >= l.Before || len(g.Placed) != c.placed || strings.TrimSpace(g.Change) == "" {
				t.Errorf("%+v, left out %d before", g, len(plan.LeftOut))
			}
		})
	}
}

// A change that can do no harm never comes out as a loss, and what gains says
// is of the plan given.
func TestGainsAreOfThePlanGiven(t *testing.T) {
	t.Parallel()
	better := 0
	for seed := range uint64(60) {
		p := tiny(rand.New(rand.NewPCG(seed, 41)))
		p.Search.Iterations = 100
		plan, err := planner.Solve(t.Context(), p, nil)
		if err != nil {
			t.Fatal(err)
		}
		gains, complete, err := planner.Gains(t.Context(), p, plan)
		if err != nil || !complete {
			t.Fatalf("problem %d: complete %v, %v", seed, complete, err)
		}
		for _, g := range gains {
			for i, l := range g.Levels {
				if l.Before != plan.Levels[i].Value {
					t.Errorf("problem %d: %s: level %+v, the plan has %d", seed, g.Change, l, plan.Levels[i].Value)
				}
			}
			i := slices.IndexFunc(g.Levels, func(l planner.LevelChange) bool { return l.Before != l.After })
			if g.Better {
				better++
			}
			if g.Kind != planner.GainMixing && i >= 0 && g.Levels[i].After > g.Levels[i].Before {
				t.Errorf("problem %d: %s does harm: %+v", seed, g.Change, g.Levels)
			}
		}
	}
	if better == 0 {
		t.Error("nothing gained anything")
	}
}
