package planner

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"wetside/lab/units"
)

// TestEndingIsExact holds the soonest finish of what is held to overlapping sessions, in
// any number of runs or few, with places for all film that hangs last or too few, against
// trying all ways of parting it into runs, in all orders, by all sets.
func TestEndingIsExact(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(10, 10))
	placed, fewer, full := 0, 0, 0
	for round := range 600 {
		p := heldWeek(rng)
		for round%6 == 0 && len(p.Rolls) < 6 { // of alike rolls the same are left in many ways
			r := p.Rolls[rng.IntN(len(p.Rolls))]
			r.ID = fmt.Sprint("roll", len(p.Rolls))
			p.Rolls = append(p.Rolls, r)
		}
		if rng.IntN(2) == 0 {
			p.Cabinets[0].Positions = 1 + rng.Int64N(4)
		}
		if rng.IntN(2) == 0 {
			p.Cabinets = append(p.Cabinets, Cabinet{ID: "line", Positions: 20, Drying: p.Cabinets[0].Drying + units.Duration(rng.IntN(120))*units.Minute, Takes: p.Cabinets[0].Takes})
		}
		m := compile(p)
		bd := newBounds(m, nil)
		must, usable := make([]bool, len(m.rolls)), make([]bool, len(m.sets))
		for i := range must {
			must[i] = true
		}
		for i := range usable {
			usable[i] = rng.IntN(4) > 0
		}
		var left []int
		for s := range m.sess {
			left = append(left, bd.heldTo(s, must)...)
		}
		any := allEnds{s: withoutHands(m), usable: usable, late: never, places: never, runs: len(left)}
		most := min(any.soonest(left, 0), 24*3600) + int64(rng.IntN(3)*rng.IntN(60))*60 + 1
		e := bd.ending([]int{0, 1, 2}, must, usable, most)
		if e == nil {
			continue
		}
		_, spread, places := m.hangsTogether(most - 1)
		if rng.IntN(2) == 0 {
			e.runs = 1 + rng.IntN(len(m.rolls))
		}
		rules := any
		if rules.late, rules.places = most-1-spread, places; e.runs > 0 {
			rules.runs = e.runs
		}
		want := min(rules.soonest(left, 0), most)
		if got := e.solve(); got != want {
			t.Fatalf("round %d: %d rolls are dry by %d, not %d", round, len(left), got, want)
		}
		if want < most {
			placed++
		} else {
			roomy := rules
			if roomy.late, roomy.places = never, never; roomy.soonest(left, 0) < most {
				full++
			}
			if rules.runs = len(left); rules.soonest(left, 0) < most {
				fewer++
			}
		}
	}
	if placed < 150 || fewer < 30 || full < 30 {
		t.Errorf("of 600 %d could be placed, %d not for want of runs, %d for want of places", placed, fewer, full)
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

// TestEndingRemembers meets the same state again, after as many runs and with as many
// places, and after fewer or with more, where there may yet be a way.
func TestEndingRemembers(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(11, 11))
	m := compile(heldWeek(rng))
	must, usable := make([]bool, len(m.rolls)), make([]bool, len(m.sets))
	for i := range must {
		must[i] = true
	}
	for i := range usable {
		usable[i] = true
	}
	for _, limited := range []bool{false, true} {
		e := newBounds(m, nil).ending([]int{0, 1, 2}, must, usable, never)
		if limited {
			e.runs, e.places = len(m.rolls), 3
		}
		st := &e.stack[0]
		for n, at := range []struct {
			depth  int
			places int64
			met    bool
		}{{2, 1, false}, {2, 1, true}, {3, 1, true}, {1, 1, !limited}, {2, 2, !limited}, {1, 2, !limited}, {1, 2, true}} {
			if st.places = e.places; limited {
				st.places = at.places
			}
			if got := e.met(st, at.depth, 0); got != at.met {
				t.Errorf("limited %v, the %dth: met %v", limited, n, got)
			}
		}
	}
}

// TestEndingSparesPlaces has one roll or two in a run that takes no longer for it: that it
// may as well hold both goes only as long as places for film that hangs last are many.
func TestEndingSparesPlaces(t *testing.T) {
	t.Parallel()
	p := heldWeek(rand.New(rand.NewPCG(12, 12)))
	p.Tanks[0].WarmUp["c"], p.Reels[0].Loading = 15*units.Minute, 2*units.Minute
	p.Rolls = p.Rolls[:1]
	p.Rolls[0].Class, p.Rolls[0].Reel, p.Rolls[0].Booked = "c", "small", "s0"
	p.Rolls = append(p.Rolls, p.Rolls[0])
	p.Rolls[1].ID = "other"
	for i := range p.Baths {
		p.Baths[i].AreaLeftMM2 = nil
	}
	m := compile(p)
	for positions, want := range map[int64]bool{1: false, 2: true} {
		m.cabs[0].positions = positions
		e := newBounds(m, nil).ending([]int{0}, []bool{true, true}, []bool{true, true, true, true}, 6*3600)
		if len(e.loads) != 2 {
			t.Fatalf("%d loads of two alike rolls", len(e.loads))
		}
		if got := len(e.loads[0].more) > 0; got != want {
			t.Errorf("with %d positions a run may as well hold both: %v", positions, got)
		}
	}
}

// allEnds are all ways of placing rolls.
type allEnds struct {
	s      *state
	usable []bool // sets
	late   int64  // runs that end after it share the places
	places int64
	runs   int // at most
}

// soonest tries each set of rolls in each session by each set of baths next.
func (a allEnds) soonest(left []int, finish int64) int64 {
	s, m := a.s, a.s.m
	if len(left) == 0 {
		return finish
	}
	best := int64(never)
	if a.runs == 0 {
		return best
	}
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
			if !a.usable[set] {
				continue
			}
			b := s.fresh(m.rolls[load[0]].held, set)
			for _, r := range load {
				m.with(b, r)
			}
			if s.room(b) {
				dry, then := finish, a
				for _, r := range load {
					dry = max(dry, b.end+m.rolls[r].fastest)
				}
				if then.runs--; b.end > a.late {
					then.places -= int64(len(load))
				}
				if then.places >= 0 {
					s.attach(b)
					best = min(best, then.soonest(rest, dry))
					s.detach(b)
				}
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
