package planner_test

import (
	"fmt"
	"math/rand/v2"
	"time"

	"wetside/lab/units"
	"wetside/scheduling/planner"
)

// tick is the grid on which tiny problems lie, so that a best plan lies on it
// too and can be found by trying every start.
const tick = 10 * units.Minute

func ticks(n int) units.Duration { return units.Duration(n) * tick }

func tickAt(n int) time.Time { return monday.Add(ticks(n).Std()) }

// tiny draws a problem small enough to enumerate, scarce in everything.
func tiny(rng *rand.Rand) *planner.Problem {
	some := func(low, high int) int { return low + rng.IntN(high-low+1) }
	chance := func(percent int) bool { return rng.IntN(100) < percent }
	p := &planner.Problem{
		Horizon: planner.Window{Start: monday, End: tickAt(60)}, LeftOutDays: int64(some(0, 3)),
		TolerancePermille: int64(some(0, 1) * 200), Search: planner.Search{Seed: 7},
	}
	for i := range some(1, 2) {
		p.Reels = append(p.Reels, planner.ReelKind{
			Kind: fmt.Sprint("reel", i), Count: int64(some(1, 3)), Holds: int64(some(1, 2)), HeightMM: int64(some(3, 6) * 10),
			SolutionML: int64(some(2, 5) * 100), Loading: ticks(some(0, 1)), Drying: ticks(some(0, 12)),
		})
	}
	for i := range some(1, 2) {
		t := planner.Tank{
			ID: fmt.Sprint("tank", i), HeightMM: int64(some(5, 15) * 10), VolumeML: int64(some(5, 15) * 100), CleanUp: ticks(some(0, 1)), Flush: ticks(some(0, 2)),
			WarmUp: map[string]units.Duration{"p0": ticks(some(0, 2)), "p1": ticks(some(0, 2))},
		}
		for j, k := range p.Reels {
			if j == 0 || chance(80) {
				t.Reels = append(t.Reels, k.Kind)
			}
		}
		p.Tanks = append(p.Tanks, t)
	}
	for i := range some(1, 2) {
		from := some(0, 12)
		if len(p.Tanks) == 1 {
			from += 25 * i
		}
		s := planner.Session{
			ID: fmt.Sprint("s", i), Tank: p.Tanks[i%len(p.Tanks)].ID, Operator: []string{"ann", "ann", "bo", ""}[some(0, 3)],
			Window: planner.Window{Start: tickAt(from), End: tickAt(from + some(5, 13))},
		}
		if chance(15) {
			s.Processes = []string{"p0"}
		}
		p.Sessions = append(p.Sessions, s)
	}
	for i := range some(1, 2) {
		c := planner.Cabinet{ID: fmt.Sprint("cab", i), Positions: int64(some(1, 4)), Drying: ticks(some(2, 14)), Takes: map[string]int64{"a": 1}}
		if chance(70) {
			c.Takes["b"] = int64(some(1, 2))
		}
		p.Cabinets = append(p.Cabinets, c)
	}
	for i := range some(1, 3) {
		wet := some(2, 4)
		c := planner.Class{ID: fmt.Sprint("c", i), Process: fmt.Sprint("p", i/2), Developing: units.Duration(some(5, 7) * 100), Wet: ticks(wet), Steps: []planner.Step{{Role: "dev"}}, Shareable: chance(50)}
		if chance(50) {
			c.Steps = append(c.Steps, planner.Step{Role: "fix", Begins: ticks(1)})
		}
		if chance(40) {
			c.Hands = []planner.Span{{From: ticks(wet - 1), To: ticks(wet)}}
		}
		p.Classes = append(p.Classes, c)
	}
	for i := range some(1, 2) {
		tinySet(p, i, some, chance)
	}
	for i := range some(1, 5) {
		tinyRoll(p, i, some, chance)
	}
	if chance(30) {
		tinyFrozen(p, some)
	}
	return p
}

func tinySet(p *planner.Problem, i int, some func(int, int) int, chance func(int) bool) {
	set := planner.BathSet{ID: fmt.Sprint("set", i), Processes: []string{"p0", "p1"}, WasteMinorPerM2: int64(some(0, 2) * 1000)}
	if chance(50) {
		set.Mix = &planner.Mix{Kit: fmt.Sprint("kit", i), PriceMinor: int64(some(1, 9) * 100), Takes: ticks(some(0, 2))}
		if chance(30) {
			set.Mix.By = ptr(tickAt(some(5, 40)))
		}
	}
	for _, role := range []string{"dev", "fix"} {
		b := planner.Bath{ID: fmt.Sprint(role, i), Role: role, VolumeML: int64(some(5, 25) * 100), OneShot: chance(25)}
		if chance(60) {
			b.RunMM2PerL = ptr(int64(some(10, 40) * 10_000))
		}
		if chance(60) {
			b.AreaLeftMM2 = ptr(int64(some(4, 30) * 10_000))
		}
		if chance(25) {
			b.RunsLeft = ptr(int64(some(1, 3)))
		}
		if chance(40) {
			b.ExpiresAt = ptr(tickAt(some(8, 60)))
		}
		if chance(40) {
			b.Life = ptr(ticks(some(3, 30)))
		}
		p.Baths = append(p.Baths, b)
		set.Baths = append(set.Baths, b.ID)
	}
	if i == 1 && chance(20) { // two sets share a bath
		if f := &p.Baths[1]; f.Life == nil {
			set.Baths[1] = f.ID
		}
	}
	p.BathSets = append(p.BathSets, set)
}

func tinyRoll(p *planner.Problem, i int, some func(int, int) int, chance func(int) bool) {
	r := planner.Roll{
		ID: fmt.Sprint("r", i), Class: p.Classes[some(0, len(p.Classes)-1)].ID, AreaMM2: int64(some(3, 9) * 10_000),
		Reel: p.Reels[some(0, len(p.Reels)-1)].Kind, Hang: []string{"a", "a", "b"}[some(0, 2)], HandedIn: tickAt(some(-20, 6)), Weight: int64(some(0, 3)),
	}
	if chance(25) {
		r.HandedIn = tickAt(some(6, 40))
	}
	if chance(70) {
		r.Due = ptr(tickAt(some(-100, 60)))
	}
	sess := p.Sessions[some(0, len(p.Sessions)-1)].ID
	switch some(0, 9) {
	case 0, 1:
		r.Booked = sess
	case 2:
		p.Pins = append(p.Pins, planner.Hold{Roll: r.ID, Session: sess})
	case 3:
		p.Bans = append(p.Bans, planner.Hold{Roll: r.ID, Session: sess})
	}
	if chance(40) {
		p.Previous = append(p.Previous, planner.Hold{Roll: r.ID, Session: []string{sess, sess, "", "gone"}[some(0, 3)]})
	}
	p.Rolls = append(p.Rolls, r)
}

func tinyFrozen(p *planner.Problem, some func(int, int) int) {
	set := &p.BathSets[0]
	if set.Mix != nil {
		return
	}
	s := p.Sessions[some(0, len(p.Sessions)-1)]
	start := s.Start.Add(ticks(some(-3, 4)).Std())
	class := p.Classes[0]
	f := planner.FrozenBatch{Batch: planner.Batch{
		ID: "batch-1", Session: s.ID, Tank: s.Tank, Process: class.Process, Class: class.ID, BathSet: set.ID,
		Start: start, Wet: start.Add(tick.Std()), End: start.Add((tick + class.Wet).Std()), Clear: start.Add((tick + class.Wet).Std()),
		Reels: []planner.ReelUse{{Kind: p.Reels[0].Kind, Count: 1}},
		Rolls: []planner.Placement{{Roll: "old", Cabinet: p.Cabinets[0].ID, DryAt: start.Add((tick + class.Wet + p.Cabinets[0].Drying).Std())}},
	}}
	f.Films = []planner.Roll{{ID: "old", Class: class.ID, AreaMM2: 30_000, Reel: p.Reels[0].Kind, Hang: "a"}}
	p.Frozen = append(p.Frozen, f)
}
