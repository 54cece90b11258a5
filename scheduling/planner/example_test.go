package planner_test

import (
	"context"
	"fmt"
	"time"

	"wetside/lab/units"
	"wetside/scheduling/planner"
)

func ExampleSolve() {
	evening := time.Date(2026, 3, 2, 18, 0, 0, 0, time.UTC)
	p := &planner.Problem{
		Horizon: planner.Window{Start: evening, End: evening.Add(24 * time.Hour)},
		Tanks: []planner.Tank{{
			ID: "heated tank", HeightMM: 130, VolumeML: 1500, Reels: []string{"small-gauge"},
			WarmUp: map[string]units.Duration{"C-41": 20 * units.Minute}, CleanUp: 10 * units.Minute,
		}},
		Reels:    []planner.ReelKind{{Kind: "small-gauge", Count: 2, HeightMM: 40, SolutionML: 400, Loading: 5 * units.Minute, Drying: 4 * units.Hour}},
		Cabinets: []planner.Cabinet{{ID: "cabinet", Positions: 6, Drying: 2 * units.Hour, Takes: map[string]int64{"strip": 1}}},
		Sessions: []planner.Session{{ID: "monday", Tank: "heated tank", Operator: "steward", Window: planner.Window{Start: evening, End: evening.Add(2 * time.Hour)}}},
		Classes:  []planner.Class{{ID: "C-41 normal", Process: "C-41", Developing: 195, Wet: 30 * units.Minute}},
		Baths:    []planner.Bath{{ID: "developer", Role: "developer", VolumeML: 1500}},
		BathSets: []planner.BathSet{{ID: "bath 12", Processes: []string{"C-41"}, Baths: []string{"developer"}}},
	}
	for i := range 3 {
		p.Rolls = append(p.Rolls, planner.Roll{
			ID: fmt.Sprintf("roll %d", i+1), Class: "C-41 normal", AreaMM2: 51_613, Reel: "small-gauge", Hang: "strip",
			HandedIn: evening.Add(-time.Hour), Weight: int64(3 - i),
		})
	}
	plan, err := planner.Solve(context.Background(), p, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, b := range plan.Batches {
		fmt.Printf("%s in %s at %s: %d rolls, wet %s, dry %s\n", b.Class, b.Tank, b.Start.Format("15:04"), len(b.Rolls), b.Wet.Format("15:04"), b.Rolls[0].DryAt.Format("15:04"))
	}
	for _, out := range plan.LeftOut {
		fmt.Printf("%s is left out: %s; it would take %s\n", out.Roll, out.Reasons[0].Detail, out.Change)
	}
	// Output:
	// C-41 normal in heated tank at 18:00: 2 rolls, wet 18:20, dry 20:50
	// roll 3 is left out: needs 1 small-gauge reel, 0 dry at 2 Mar 18:00; it would take one more small-gauge reel
}
