package planner_test

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"wetside/lab/units"
	"wetside/scheduling/planner"
)

// kept is p with the rolls of some holds alone.
func kept(p *planner.Problem, holds []planner.ClashHold) *planner.Problem {
	q := *p
	in := func(id string) bool {
		return slices.ContainsFunc(holds, func(h planner.ClashHold) bool { return h.Roll == id })
	}
	q.Rolls = slices.DeleteFunc(slices.Clone(p.Rolls), func(r planner.Roll) bool { return !in(r.ID) })
	q.Pins = slices.DeleteFunc(slices.Clone(p.Pins), func(h planner.Hold) bool { return !in(h.Roll) })
	q.Bans = slices.DeleteFunc(slices.Clone(p.Bans), func(h planner.Hold) bool { return !in(h.Roll) })
	q.Previous = nil
	return &q
}

// smallest fails unless a clash does not fit, and does without any one of it.
func smallest(t *testing.T, p *planner.Problem, c *planner.Clash) {
	t.Helper()
	if ok, _, err := planner.Fits(t.Context(), kept(p, c.Holds)); err != nil || ok {
		t.Errorf("%v fits, %v", c.Holds, err)
	}
	for i := range c.Holds {
		rest := slices.Delete(slices.Clone(c.Holds), i, i+1)
		if ok, _, err := planner.Fits(t.Context(), kept(p, rest)); c.Smallest && (err != nil || !ok) {
			t.Errorf("%v does not fit without %s, %v", c.Holds, c.Holds[i].Roll, err)
		}
	}
}

func TestPlanSaysWhichPinsClash(t *testing.T) {
	t.Parallel()
	cases := map[string]struct {
		change func(p *planner.Problem)
		want   []string
	}{
		"too many for one session": {func(p *planner.Problem) {}, []string{"r00", "r01", "r02", "r03", "r04"}},
		"the same reels at the same time": {func(p *planner.Problem) {
			second(p)
			p.Reels[0].Count = 1
			p.Baths[0].OneShot, p.Baths[0].VolumeML = true, 9_000
		}, []string{"r00", "r02"}},
		"the same bath at the same time": {func(p *planner.Problem) {
			second(p)
		}, []string{"r00", "r02"}},
		"one that cannot be, whatever else": {func(p *planner.Problem) {
			p.Rolls = p.Rolls[:2]
			p.Pins = p.Pins[:2]
			p.Rolls[1].HandedIn = monday.Add(20 * time.Hour)
		}, []string{"r01"}},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := evening(6)
			for _, r := range p.Rolls[:5] {
				p.Pins = append(p.Pins, planner.Hold{Roll: r.ID, Session: "mon"})
			}
			c.change(p)
			plan, err := planner.Solve(t.Context(), p, nil)
			if err != nil || !plan.Complete || len(plan.Clashes) != 1 {
				t.Fatalf("clashes %+v, %v", plan.Clashes, err)
			}
			clash := plan.Clashes[0]
			var rolls []string
			for _, h := range clash.Holds {
				rolls = append(rolls, h.Roll)
				if h.Kind != planner.HoldPin {
					t.Errorf("%+v is no pin", h)
				}
			}
			if !slices.Equal(rolls, c.want) || !clash.Smallest || !clash.Proved {
				t.Errorf("%+v clash, want %v, proved the smallest", clash, c.want)
			}
			smallest(t, p, &clash)
		})
	}
}

// second pins the third roll to a session of a second tank beside the first's,
// which is as long as one run, and the others but for the first to none.
func second(p *planner.Problem) {
	s, tank := p.Sessions[0], p.Tanks[0]
	s.ID, s.Tank, s.Operator, tank.ID = "beside", "second", "other", "second"
	p.Sessions[0].End = p.Sessions[0].Start.Add(time.Hour)
	s.End = p.Sessions[0].End
	p.Sessions, p.Tanks = append(p.Sessions, s), append(p.Tanks, tank)
	p.Pins = []planner.Hold{{Roll: "r00", Session: "mon"}, {Roll: "r02", Session: "beside"}}
}

// TestClashesAreSmallest: of random problems whose held rolls do not all fit,
// each clash does not fit and does without any one of its holds.
func TestClashesAreSmallest(t *testing.T) {
	t.Parallel()
	problems, clashes, proved, together := 0, 0, 0, 0
	for seed := range uint64(600) {
		rng := rand.New(rand.NewPCG(seed, 41))
		p := tiny(rng)
		p.Pins, p.Bans = nil, nil
		for i := range p.Rolls {
			if s := p.Sessions[rng.IntN(len(p.Sessions))].ID; rng.IntN(2) == 0 {
				p.Rolls[i].Booked = s
			} else {
				p.Rolls[i].Booked = ""
				p.Pins = append(p.Pins, planner.Hold{Roll: p.Rolls[i].ID, Session: s})
			}
		}
		plan, err := planner.Solve(t.Context(), p, nil)
		if err != nil {
			t.Fatal(err)
		}
		if plan.Levels[0].Value == 0 {
			if len(plan.Clashes) > 0 {
				t.Errorf("problem %d: all fit, clashes %+v", seed, plan.Clashes)
			}
			continue
		}
		problems++
		if len(plan.Clashes) == 0 {
			t.Errorf("problem %d: %d displaced and no clash", seed, plan.Levels[0].Value)
		}
		for _, c := range plan.Clashes {
			clashes++
			if c.Proved {
				proved++
			}
			if len(c.Holds) > 1 {
				together++
			}
			if !c.Smallest {
				t.Errorf("problem %d: %+v is not known to be the smallest", seed, c)
			}
			smallest(t, p, &c)
			if bestWorth(kept(p, c.Holds))[0] == 0 {
				t.Errorf("problem %d: enumeration keeps all of %+v", seed, c)
			}
			again, err := planner.FindClash(t.Context(), p, c.Holds[0].Roll)
			if err != nil {
				t.Fatal(err)
			}
			if again != nil {
				smallest(t, p, again)
			}
		}
	}
	if together < 50 {
		t.Errorf("only %d clashes are of more than one hold", together)
	}
	t.Logf("%d problems with displaced rolls, %d clashes, %d of several holds, %d proved", problems, clashes, together, proved)
}

func TestFindClash(t *testing.T) {
	t.Parallel()
	p := evening(6)
	for i := range 4 {
		p.Rolls[i].Booked = "mon"
	}
	p.Pins = []planner.Hold{{Roll: "r04", Session: "mon"}}
	clash, err := planner.FindClash(t.Context(), p, "r04")
	if err != nil || clash == nil || len(clash.Holds) != 5 || !clash.Proved || !clash.Smallest {
		t.Fatalf("clash %+v, %v", clash, err)
	}
	if h := clash.Holds; h[0].Kind != planner.HoldBooking || h[4].Kind != planner.HoldPin || h[4].Session != "mon" {
		t.Errorf("holds %+v", h)
	}
	p.Reels[0].Count, p.Tanks[0].HeightMM = 5, 9*40
	if clash, err := planner.FindClash(t.Context(), p, "r04"); err != nil || clash != nil {
		t.Errorf("with five reels: %+v, %v", clash, err)
	}
	if clash, err := planner.FindClash(t.Context(), p, "r05"); err != nil || clash != nil {
		t.Errorf("a roll not held: %+v, %v", clash, err)
	}
	p.Search.Budget = -units.Second
	if _, err := planner.FindClash(t.Context(), p, "r04"); err == nil {
		t.Error("a budget below zero was taken")
	}
}
