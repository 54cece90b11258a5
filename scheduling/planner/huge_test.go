package planner_test

import (
	"context"
	"fmt"
	"slices"
	"testing"
	"time"

	"wetside/lab/units"
	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

// huge is a problem as large as problems may be: every session could take every
// bath set, and there are many more rolls than places.
func huge(kits bool) *planner.Problem {
	const parts = 2_000
	p := evening(planner.MaxRolls)
	p.Horizon.End = monday.AddDate(0, 0, 300)
	p.Search = planner.Search{Budget: 2 * units.Second}
	p.Reels[0].Drying = units.Hour
	p.Sessions, p.Baths, p.BathSets = nil, nil, nil
	for i := range parts {
		start := monday.Add(time.Duration(i) * 3 * time.Hour)
		p.Sessions = append(p.Sessions, planner.Session{
			ID: fmt.Sprint("session-", i), Tank: "tank", Operator: "op", Window: planner.Window{Start: start, End: start.Add(2 * time.Hour)},
		})
		bath := fmt.Sprint("bath-", i)
		p.Baths = append(p.Baths, planner.Bath{ID: bath, Role: "dev", VolumeML: 2000, AreaLeftMM2: ptr(int64(400_000 + i))})
		set := planner.BathSet{ID: fmt.Sprint("set-", i), Processes: []string{"c41"}, Baths: []string{bath}}
		if kits {
			p.Baths[i].Life = ptr(100 * units.Hour)
			set.Mix = &planner.Mix{Kit: "kit", PriceMinor: 1_000, Takes: 5 * units.Minute}
		}
		p.BathSets = append(p.BathSets, set)
	}
	for i := range p.Rolls { // no two alike
		p.Rolls[i].AreaMM2 += int64(i)
		p.Rolls[i].Due = ptr(monday.Add(time.Duration(i%300) * 20 * time.Hour))
	}
	return p
}

// TestHugeProblemsEndWithTheirBudget: the largest problems end soon after their
// budget or context, in whichever part of the work that is.
func TestHugeProblemsEndWithTheirBudget(t *testing.T) {
	cases := map[string]struct {
		kits   bool
		change func(p *planner.Problem)
	}{
		"mixed":  {false, func(*planner.Problem) {}},
		"kits":   {true, func(*planner.Problem) {}},
		"booked": {false, func(p *planner.Problem) { book(p) }},
		"pinned all over": {true, func(p *planner.Problem) {
			for i, r := range p.Rolls {
				if i < 2_000 {
					p.Pins = append(p.Pins, planner.Hold{Roll: r.ID, Session: p.Sessions[i/8].ID})
				}
			}
		}},
		"classes": {false, func(p *planner.Problem) {
			for i := range 1_000 {
				c := p.Classes[0]
				c.ID, c.Developing, c.Shareable = fmt.Sprint("class-", i), c.Developing+units.Duration(i), true
				p.Classes = append(p.Classes, c)
			}
			p.TolerancePermille = 1000
			for i := range p.Rolls {
				p.Rolls[i].Class = p.Classes[i%len(p.Classes)].ID
			}
		}},
	}
	atMost := 4 * time.Second // of processor time, reading the problem and its garbage included
	if raceDetector {
		atMost *= 8
	}
	for _, name := range slices.Sorted(func(yield func(string) bool) {
		for name := range cases {
			if !yield(name) {
				return
			}
		}
	}) {
		t.Run(name, func(t *testing.T) {
			p := huge(cases[name].kits)
			cases[name].change(p)
			began := cpuTime()
			plan, err := planner.Solve(t.Context(), p, nil)
			took := cpuTime() - began
			if err != nil || plan.Complete {
				t.Fatalf("complete %v, %v", plan.Complete, err)
			}
			t.Logf("%.1f s of processor time, %d batches", took.Seconds(), len(plan.Batches))
			if took > atMost {
				t.Errorf("a budget of 2 s took %.1f s of processor time", took.Seconds())
			}
			if v := checker.Check(p, plan); len(v) > 0 {
				t.Errorf("breaks rule %d: %s", v[0].Rule, v[0].Detail)
			}
			ctx, cancel := context.WithCancel(t.Context())
			cancel()
			began = cpuTime()
			if _, _, err := planner.Gains(ctx, p, plan); err != nil {
				t.Error(err)
			}
			if _, _, err := planner.Fits(ctx, p); err != nil {
				t.Error(err)
			}
			if took := cpuTime() - began; took > atMost {
				t.Errorf("an ended context took %.1f s", took.Seconds())
			}
		})
	}
}
