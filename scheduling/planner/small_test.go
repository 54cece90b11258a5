package planner_test

import (
	"fmt"
	"time"

	"wetside/lab/units"
	"wetside/scheduling/planner"
)

// evening is a lab with one tank, one session from 18:00 to 20:00 on a Monday
// and a mixed bath: a run takes 20 min to warm, 30 min wet and 10 min to clean.
func evening(rolls int) *planner.Problem {
	p := &planner.Problem{
		Horizon: planner.Window{Start: monday, End: monday.AddDate(0, 0, 2)},
		Tanks: []planner.Tank{{
			ID: "tank", HeightMM: 200, VolumeML: 2000, Reels: []string{"small-gauge"},
			WarmUp: map[string]units.Duration{"c41": 20 * units.Minute}, CleanUp: 10 * units.Minute,
		}},
		Reels:    []planner.ReelKind{{Kind: "small-gauge", Count: 4, HeightMM: 40, SolutionML: 300, Loading: 4 * units.Minute, Drying: 4 * units.Hour}},
		Cabinets: []planner.Cabinet{{ID: "cabinet", Positions: 8, Drying: 2 * units.Hour, Takes: map[string]int64{"strip": 1}}},
		Sessions: []planner.Session{{ID: "mon", Tank: "tank", Operator: "op", Window: planner.Window{Start: monday.Add(18 * time.Hour), End: monday.Add(20 * time.Hour)}}},
		Classes:  []planner.Class{{ID: "c41", Process: "c41", Developing: 195, Wet: 30 * units.Minute, Steps: []planner.Step{{Role: "dev"}}}},
		Baths:    []planner.Bath{{ID: "dev", Role: "dev", VolumeML: 2000}},
		BathSets: []planner.BathSet{{ID: "set", Processes: []string{"c41"}, Baths: []string{"dev"}}},
		Search:   planner.Search{Iterations: 200},
	}
	for i := range rolls {
		p.Rolls = append(p.Rolls, planner.Roll{ID: fmt.Sprintf("r%02d", i), Class: "c41", AreaMM2: 51_613, Reel: "small-gauge", Hang: "strip", HandedIn: monday})
	}
	return p
}

// book holds every roll to the first session.
func book(p *planner.Problem) *planner.Problem {
	for i := range p.Rolls {
		p.Rolls[i].Booked = p.Sessions[0].ID
	}
	return p
}
