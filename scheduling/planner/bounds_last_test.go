package planner

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"wetside/lab/units"
)

// TestEndingIsExact holds the soonest finish of what is held to overlapping sessions
// against trying all ways of parting it into runs, in all orders, by all sets.
func TestEndingIsExact(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(10, 10))
	placed := 0
	for round := range 400 {
		m := compile(heldWeek(rng))
		bd := newBounds(m, nil)
		must, usable := make([]bool, len(m.rolls)), make([]bool, len(m.sets))
		for i := range must {
			must[i] = true
		}
		for i := range usable {
			usable[i] = rng.IntN(4) > 0
		}
		e := bd.ending([]int{0, 1, 2}, must, usable, never)
		if e == nil {
			continue
		}
		var left []int
		for _, s := range e.sess {
			left = append(left, bd.heldTo(s, must)...)
		}
		want := soonestEnd(withoutHands(m), usable, left, 0)
		if got := e.solve(); got != want {
			t.Fatalf("round %d: %d rolls are dry by %d, not %d", round, len(left), got, want)
		}
		if want < never {
			placed++
		}
	}
	if placed < 150 {
		t.Errorf("only %d of 400 could be placed at all", placed)
	}
}

// withoutHands is a state in which by-hand work and hanging count for nothing, and kits
// are mixed in time, whenever that is.
func withoutHands(m *model) *state {
	s := newState(m)
	s.reset()
	s.lax, s.relaxed = true, true
	for set := range m.sets {
		if m.sets[set].mix {
			s.mixedAt[set] = -never
		}
	}
	return s
}

// soonestEnd tries each set of rolls in each session by each set of baths next.
func soonestEnd(s *state, usable []bool, left []int, finish int64) int64 {
	m := s.m
	if len(left) == 0 {
		return finish
	}
	best := int64(never)
	for mask := 1; mask < 1<<len(left); mask++ {
		var load, rest []int
		for i, r := range left {
			if mask>>i&1 == 1 {
				load = append(load, r)
			} else {
				rest = append(rest, r)
			}
		}
		if slices.ContainsFunc(load, func(r int) bool { return m.rolls[r].held != m.rolls[load[0]].held }) {
			continue
		}
		for set := range m.sets {
			if !usable[set] {
				continue
			}
			b := s.fresh(m.rolls[load[0]].held, set)
			for _, r := range load {
				m.with(b, r)
			}
			if s.room(b) {
				dry := finish
				for _, r := range load {
					dry = max(dry, b.end+m.rolls[r].fastest)
				}
				s.attach(b)
				best = min(best, soonestEnd(s, usable, rest, dry))
				s.detach(b)
			}
			s.release(b)
		}
	}
	return best
}

// heldWeek is a problem of few rolls, each held to one of three sessions.
func heldWeek(rng *rand.Rand) *Problem {
	at := func(minutes int) time.Time {
		return time.Date(2030, 1, 7, 18, minutes, 0, 0, time.UTC)
	}
	minutes := func(low, high int) units.Duration { return units.Duration(low+rng.IntN(high-low+1)) * units.Minute }
	p := &Problem{
		Horizon: Window{Start: at(0), End: at(600)}, TolerancePermille: 300,
		Reels:    []ReelKind{{Kind: "small", Count: 3, HeightMM: 40, Loading: minutes(2, 6), Drying: minutes(0, 90)}, {Kind: "large", Count: 1 + rng.Int64N(2), Holds: 1 + rng.Int64N(2), HeightMM: 70, Loading: minutes(3, 9), Drying: minutes(0, 60)}},
		Cabinets: []Cabinet{{ID: "cabinet", Positions: 20, Drying: minutes(60, 90), Takes: map[string]int64{"strip": 1}}},
	}
	for i := range 3 {
		tank := fmt.Sprint("tank", i)
		p.Tanks = append(p.Tanks, Tank{ID: tank, HeightMM: 100 + rng.Int64N(60), VolumeML: 1000, Reels: []string{"small", "large"}, CleanUp: minutes(0, 15), Flush: minutes(0, 15), WarmUp: map[string]units.Duration{"c": minutes(5, 15)}})
		from := rng.IntN(30)
		p.Sessions = append(p.Sessions, Session{ID: fmt.Sprint("s", i), Tank: tank, Operator: fmt.Sprint("op", rng.IntN(2)), Window: Window{Start: at(from), End: at(from + 100 + rng.IntN(150))}})
	}
	for _, c := range []struct {
		id, process string
		dev         int
	}{{"c", "c", 3}, {"c+1", "c", 4}, {"bw-6", "bw", 6}, {"bw-7", "bw", 7}} {
		p.Classes = append(p.Classes, Class{ID: c.id, Process: c.process, Developing: units.Duration(c.dev) * units.Minute, Wet: units.Duration(20+c.dev) * units.Minute, Shareable: c.process == "bw", Hands: []Span{{From: 15 * units.Minute, To: 17 * units.Minute}}, Steps: []Step{{Role: "developer"}}})
	}
	for i, process := range []string{"c", "c", "bw", "c"} {
		bath := Bath{ID: fmt.Sprint("bath", i), Role: "developer", VolumeML: 5000}
		if i != 1 && rng.IntN(3) == 0 {
			left := int64(50_000 + rng.IntN(4)*40_000)
			bath.AreaLeftMM2 = &left
		}
		if i != 1 && rng.IntN(3) == 0 {
			dies := at(60 + rng.IntN(120))
			bath.ExpiresAt = &dies
		}
		set := BathSet{ID: fmt.Sprint("set", i), Processes: []string{process}, Baths: []string{bath.ID}}
		if i == 1 {
			set.Mix = &Mix{Kit: "kit", PriceMinor: 100, Takes: minutes(10, 30)}
		}
		p.Baths, p.BathSets = append(p.Baths, bath), append(p.BathSets, set)
	}
	for i := range 2 + rng.IntN(4) {
		p.Rolls = append(p.Rolls, Roll{ID: fmt.Sprint("roll", i), Class: p.Classes[rng.IntN(4)].ID, AreaMM2: 30_000 + 20_000*rng.Int64N(2), Reel: []string{"small", "large"}[rng.IntN(2)], Hang: "strip", HandedIn: at(rng.IntN(2) * rng.IntN(60)), Booked: fmt.Sprint("s", rng.IntN(3))})
	}
	return p
}
