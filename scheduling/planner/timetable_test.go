package planner

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"wetside/lab/units"
)

// TestTimetableAgainstAllOrders holds timetables of up to six runs of a day against
// placing the runs in all orders, each at its earliest: what no order can, no
// timetable does, and nearly all of what some order can.
func TestTimetableAgainstAllOrders(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(12, 12))
	found, missed, none := 0, 0, 0
	for round := range 600 {
		m := compile(someDay(rng))
		sr := newSearch(m)
		s := sr.s
		var specs []spec
		for r := range m.rolls {
			sess := m.rolls[r].sessions[0]
			set := m.setsOf[m.class[m.rolls[r].class].process]
			last := m.sess[sess].end - m.tanks[m.sess[sess].tank].clean - rng.Int64N(7200)*rng.Int64N(2)
			specs = append(specs, spec{sess: sess, set: set[rng.IntN(len(set))], rolls: []int{r}, last: last})
		}
		possible := inSomeOrder(s, specs, make([]bool, len(specs)))
		ok, nodes := sr.timetable(specs, 10_000, func() bool { return true })
		if nodes > 10_000 || ok != (len(s.batches) == len(specs)) || !ok && len(s.batches) > 0 {
			t.Fatalf("round %d: %d starts, %v with %d of %d runs placed", round, nodes, ok, len(s.batches), len(specs))
		}
		for _, b := range s.batches {
			if last := specs[b.rolls[0]].last; b.end > last {
				t.Fatalf("round %d: a run ends at %d, not by %d", round, b.end, last)
			}
		}
		switch {
		case ok && !possible:
			t.Fatalf("round %d: there is no order for this timetable", round)
		case ok:
			found++
		case possible:
			missed++
		default:
			none++
		}
	}
	t.Logf("%d timetables found, %d missed, %d times there was none", found, missed, none)
	if missed > found/50 || found < 100 || none < 100 {
		t.Errorf("%d timetables found, %d missed, %d times there was none", found, missed, none)
	}
}

// inSomeOrder tries all orders in which runs can be placed in time, by their sets or by
// others where neither is to be mixed: nothing of them is ever wasted here.
func inSomeOrder(s *state, specs []spec, done []bool) bool {
	all := true
	for i := range specs {
		if done[i] {
			continue
		}
		all = false
		own := specs[i].set
		for _, set := range s.m.setsOf[s.m.class[s.m.rolls[specs[i].rolls[0]].class].process] {
			if set != own && (s.m.sets[set].mix || s.m.sets[own].mix) {
				continue
			}
			b := s.fresh(specs[i].sess, set)
			s.m.with(b, specs[i].rolls[0])
			if s.room(b) && b.end <= specs[i].last {
				s.attach(b)
				done[i] = true
				ok := inSomeOrder(s, specs, done)
				done[i] = false
				s.detach(b)
				if ok {
					return true
				}
			}
			s.release(b)
		}
	}
	return all
}

// someDay is a day of two or three tanks with up to six rolls, each held to a session.
func someDay(rng *rand.Rand) *Problem {
	start := time.Date(2030, 1, 7, 8, 0, 0, 0, time.UTC)
	p := &Problem{
		Horizon:  Window{start, start.Add(48 * time.Hour)},
		Reels:    []ReelKind{{Kind: "reel", Count: int64(2 + rng.IntN(4)), HeightMM: 50, SolutionML: 100, Loading: 5 * units.Minute, Drying: units.Hour}},
		Cabinets: []Cabinet{{ID: "line", Positions: int64(3 + rng.IntN(4)), Drying: 2 * units.Hour, Takes: map[string]int64{"strip": 1}}},
	}
	for i, process := range []string{"colour", "grey"} {
		id := fmt.Sprint(i)
		p.Classes = append(p.Classes, Class{ID: process, Process: process, Developing: 200, Wet: units.Duration(20+10*rng.IntN(3)) * units.Minute, Steps: []Step{{Role: "developer"}}})
		for n := range 1 + rng.IntN(2) {
			bath := fmt.Sprint(id, "-", n)
			p.Baths = append(p.Baths, Bath{ID: bath, Role: "developer", VolumeML: 1000})
			set := BathSet{ID: bath, Processes: []string{process}, Baths: []string{bath}}
			if n == 1 && rng.IntN(2) == 0 {
				set.Mix = &Mix{Kit: bath, PriceMinor: 100, Takes: 10 * units.Minute}
			}
			p.BathSets = append(p.BathSets, set)
		}
	}
	for i := range 2 + rng.IntN(2) {
		id := fmt.Sprint(i)
		p.Tanks = append(p.Tanks, Tank{ID: id, HeightMM: 100, VolumeML: 1000, Reels: []string{"reel"}, CleanUp: 10 * units.Minute, Flush: 5 * units.Minute})
		from := start.Add(time.Duration(rng.IntN(3)) * 15 * time.Minute)
		p.Sessions = append(p.Sessions, Session{ID: id, Tank: id, Operator: fmt.Sprint(i % 2), Window: Window{from, from.Add(time.Duration(60+rng.IntN(120)) * time.Minute)}})
	}
	for i := range 2 + rng.IntN(5) {
		session := p.Sessions[rng.IntN(len(p.Sessions))].ID
		p.Rolls = append(p.Rolls, Roll{ID: fmt.Sprint(i), Class: p.Classes[rng.IntN(2)].ID, AreaMM2: 50_000, Reel: "reel", Hang: "strip", HandedIn: start, Booked: session})
	}
	return p
}
