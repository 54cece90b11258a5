package planner_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"time"

	"wetside/lab/units"
	"wetside/scheduling/planner"
)

// A coop says what week of what lab to make up.
type coop struct {
	rolls, tanks, sessions int
	// bookings is how many of a hundred rolls ask for a place in a session.
	bookings int
}

// servable draws a week of a co-op whose sessions can serve its rolls, nearly
// all of them: of 40 to 80 rolls, 8 to 15 sessions, more for more.
func servable(rolls int, seed uint64) *planner.Problem {
	rng := rand.New(rand.NewPCG(seed, 5))
	sessions := min(max(8+(rolls-40)/10+rng.IntN(4), 8), 15)
	return coop{rolls: rolls, tanks: 2 + rng.IntN(3), sessions: sessions, bookings: 50}.week(seed)
}

// overloaded is the same with three times the rolls.
func overloaded(rolls int, seed uint64) *planner.Problem {
	rng := rand.New(rand.NewPCG(seed, 5))
	sessions := min(max(8+(rolls-40)/10+rng.IntN(4), 8), 15)
	return coop{rolls: 3 * rolls, tanks: 2 + rng.IntN(3), sessions: sessions, bookings: 17}.week(seed)
}

// week makes the week up. Lengths, volumes, times, areas and capacities are
// those of the demonstration's co-op, which says where they come from. What is
// assumed beyond them, from no source:
//
//   - tanks take 3 to 8 spirals for 35 mm film; there are 4 such spirals to a
//     tank and half as many for 120, and drying positions for half the rolls
//   - sessions are evenings of 4 h and weekend days of 6 h; half of them allow
//     one or two processes alone; two tanks may have one operator
//   - half of the rolls are colour negatives, a third black-and-white in five
//     developing times, the others reversal or motion-picture negative; every
//     sixth is pushed
//   - what is planned has been handed in, as in the service: six of seven rolls
//     in the week before, the others a week earlier; two of three are due, one to
//     three weeks after that; weight is priority times weeks waited
//   - members book as the service lets them: only where all booked so far still
//     fit together
//   - there is a black-and-white developer and fixer for every two tanks
//   - of each colour process one set is mixed, partly used, and kits for more
//     film than there is are on the shelf
func (c coop) week(seed uint64) *planner.Problem {
	rng := rand.New(rand.NewPCG(seed, 2))
	p := &planner.Problem{
		Horizon: planner.Window{Start: monday, End: monday.AddDate(0, 0, 8)}, LeftOutDays: 14,
		TolerancePermille: int64(rng.IntN(2) * 60), Search: planner.Search{Seed: 1},
	}
	c.equip(rng, p)
	c.open(rng, p)
	c.mix(rng, p)
	c.film(rng, p)
	c.book(rng, p)
	return p
}

var colour = []string{"c-41", "reversal-6", "ecn-2"}

func (c coop) equip(rng *rand.Rand, p *planner.Problem) {
	sizes := []struct{ height, volume int64 }{{250, 2000}, {140, 1200}, {360, 3000}, {250, 2000}}
	for i := range c.tanks {
		size := sizes[i%len(sizes)]
		t := planner.Tank{
			ID: fmt.Sprint("tank-", i), HeightMM: size.height, VolumeML: size.volume, CleanUp: 15 * units.Minute, Flush: 10 * units.Minute,
			Reels: []string{"spiral-35", "spiral-120", "holder-4x5"}, WarmUp: map[string]units.Duration{},
		}
		if size.height > 200 {
			t.Reels = append(t.Reels, "spiral-8")
		}
		for _, process := range colour {
			t.WarmUp[process] = units.Duration(size.volume/250+2) * units.Minute
		}
		p.Tanks = append(p.Tanks, t)
	}
	n := int64(c.tanks)
	p.Reels = []planner.ReelKind{
		{Kind: "spiral-35", Count: 4 * n, HeightMM: 44, SolutionML: 290, Loading: 3 * units.Minute, Drying: units.Hour},
		{Kind: "spiral-120", Count: 2 * n, HeightMM: 66, SolutionML: 500, Loading: 4 * units.Minute, Drying: units.Hour},
		{Kind: "spiral-8", Count: 1 + n/2, HeightMM: 60, SolutionML: 550, Loading: 10 * units.Minute, Drying: 3 * units.Hour},
		{Kind: "holder-4x5", Count: 1, Holds: 6, HeightMM: 130, SolutionML: 1000, Loading: 8 * units.Minute, Drying: 30 * units.Minute},
	}
	positions := max(20, int64(c.rolls)/2)
	p.Cabinets = []planner.Cabinet{{ID: "cabinet", Positions: positions, Drying: 4 * units.Hour, Takes: map[string]int64{"strip": 1, "sheet": 1, "cine": 9}}}
	if rng.IntN(2) == 0 {
		p.Cabinets[0].Positions = positions / 2
		p.Cabinets = append(p.Cabinets, planner.Cabinet{ID: "line", Positions: positions / 2, Drying: 8 * units.Hour, Takes: map[string]int64{"strip": 1, "sheet": 1}})
	}
}

// open opens sessions day by day, tank by tank.
func (c coop) open(rng *rand.Rand, p *planner.Problem) {
	days := []int{1, 3, 5, 0, 2, 6, 4} // by weekday from Monday: those most labs open first
	operators := max(2, c.tanks-rng.IntN(2))
	for n := 0; n < c.sessions; n++ {
		at := days[n/c.tanks%len(days)]
		day, tank := monday.AddDate(0, 0, at), n%c.tanks
		from, hours := 18, 4
		if at >= 5 {
			from, hours = 10, 6
		}
		if n >= len(days)*c.tanks { // a second session of the day
			from, hours = 14, 4
			if at >= 5 {
				from = 17
			}
		}
		s := planner.Session{ID: fmt.Sprint("session-", n), Tank: p.Tanks[tank].ID, Operator: fmt.Sprint("operator-", tank%operators)}
		s.Start = day.Add(time.Duration(from)*time.Hour + time.Duration(rng.IntN(3)*15)*time.Minute)
		s.End = day.Add(time.Duration(from+hours) * time.Hour)
		switch rng.IntN(4) {
		case 0:
			s.Processes = []string{"bw-negative", "c-41"}
		case 1:
			s.Processes = []string{"c-41", colour[1+rng.IntN(2)]}
		}
		p.Sessions = append(p.Sessions, s)
	}
}

const rollArea = 51_613 // mm², a roll-equivalent

func (c coop) mix(rng *rand.Rand, p *planner.Problem) {
	hands := func(from, to units.Duration) []planner.Span { return []planner.Span{{From: from, To: to}} }
	for i, push := range []string{"", "+1", "+2"} {
		more := units.Duration(i) * units.Minute
		p.Classes = append(p.Classes, planner.Class{ID: "c-41" + push, Process: "c-41", Developing: 195 + more/2, Wet: 22*units.Minute + more, Hands: hands(20*units.Minute+more, 22*units.Minute+more), Steps: []planner.Step{{Role: "developer"}, {Role: "bleach", Begins: 4*units.Minute + more}, {Role: "fixer", Begins: 12*units.Minute + more}}})
	}
	for i, push := range []string{"", "+1"} {
		more := units.Duration(2*i) * units.Minute
		p.Classes = append(p.Classes, planner.Class{ID: "reversal-6" + push, Process: "reversal-6", Developing: 360 + more, Wet: 42*units.Minute + more, Hands: hands(40*units.Minute+more, 42*units.Minute+more), Steps: []planner.Step{{Role: "first-developer"}, {Role: "colour-developer", Begins: 14*units.Minute + more}, {Role: "bleach", Begins: 24*units.Minute + more}}})
	}
	p.Classes = append(p.Classes, planner.Class{ID: "ecn-2", Process: "ecn-2", Developing: 180, Wet: 25 * units.Minute, Steps: []planner.Step{{Role: "developer"}, {Role: "bleach", Begins: 8 * units.Minute}}})
	for _, dev := range []units.Duration{360, 450, 480, 600, 690} {
		p.Classes = append(p.Classes, planner.Class{ID: fmt.Sprint("bw-", dev), Process: "bw-negative", Developing: dev, Wet: (dev + 22*units.Minute) / 60 * 60, Shareable: true, Steps: []planner.Step{{Role: "developer"}, {Role: "fixer", Begins: dev + units.Minute}}})
	}
	expected := map[string]int64{"c-41": 50, "reversal-6": 10, "ecn-2": 5} // of a hundred rolls
	roles := map[string][]string{"c-41": {"developer", "bleach", "fixer"}, "reversal-6": {"first-developer", "colour-developer", "bleach"}, "ecn-2": {"developer", "bleach"}}
	price := map[string]int64{"c-41": 6490, "reversal-6": 8645, "ecn-2": 7250}
	for _, process := range colour {
		rated := int64(24 * rollArea)
		kits := 1 + int(int64(c.rolls)*expected[process]*rollArea*5/4/100/rated)
		for k := range kits + 1 {
			set := planner.BathSet{ID: fmt.Sprintf("%s-%d", process, k), Processes: []string{process}}
			left, dies := rated*int64(2+rng.IntN(8))/10, monday.Add(time.Duration(60+rng.IntN(400))*time.Hour)
			for i, role := range roles[process] {
				b := planner.Bath{ID: set.ID + "-" + role, Role: role, VolumeML: 3000, AreaLeftMM2: ptr(rated), Life: ptr(14 * units.Day)}
				if i == 0 {
					b.RunMM2PerL = ptr(int64(165_162))
				} else {
					b.AreaLeftMM2, b.Life = ptr(2*rated), ptr(60*units.Day)
				}
				if k == 0 {
					b.ExpiresAt, b.Life = ptr(dies.AddDate(0, 0, 30*i)), nil
					*b.AreaLeftMM2 -= rated - left
				}
				p.Baths = append(p.Baths, b)
				set.Baths = append(set.Baths, b.ID)
			}
			if k == 0 {
				set.WasteMinorPerM2 = price[process] * 1_000_000 / rated
			} else {
				set.Mix = &planner.Mix{Kit: set.ID, PriceMinor: price[process] + int64(rng.IntN(3)*250), Takes: 30 * units.Minute}
			}
			p.BathSets = append(p.BathSets, set)
		}
	}
	for i := range (c.tanks + 1) / 2 {
		dev, fix := fmt.Sprint("bw-developer-", i), fmt.Sprint("bw-fixer-", i)
		p.Baths = append(p.Baths,
			planner.Bath{ID: dev, Role: "developer", VolumeML: 60_000, OneShot: true, RunMM2PerL: ptr(int64(172_044))},
			planner.Bath{ID: fix, Role: "fixer", VolumeML: 5000, AreaLeftMM2: ptr(int64(200 * rollArea))})
		p.BathSets = append(p.BathSets, planner.BathSet{ID: fmt.Sprint("bw-", i), Processes: []string{"bw-negative"}, Baths: []string{dev, fix}})
	}
}

func (c coop) film(rng *rand.Rand, p *planner.Problem) {
	one := func(weights ...int) int {
		n := rng.IntN(100)
		for i, w := range weights {
			if n -= w; n < 0 {
				return i
			}
		}
		return len(weights)
	}
	formats := []struct {
		reel, hang string
		area       int64
	}{{"spiral-35", "strip", rollArea}, {"spiral-120", "strip", rollArea}, {"spiral-35", "strip", 35_000}, {"spiral-8", "cine", 121_807}, {"holder-4x5", "sheet", 12_903}}
	for i := range c.rolls {
		f := formats[one(55, 25, 10, 5)]
		r := planner.Roll{ID: fmt.Sprintf("roll-%04d", i), AreaMM2: f.area, Reel: f.reel, Hang: f.hang}
		pushed := rng.IntN(6) == 0
		switch one(50, 35, 10) {
		case 0:
			r.Class = "c-41"
			if pushed {
				r.Class += []string{"+1", "+2"}[rng.IntN(2)]
			}
		case 1:
			r.Class = p.Classes[6+one(15, 30, 30, 15)].ID
		case 2:
			r.Class = "reversal-6"
			if pushed {
				r.Class += "+1"
			}
		default:
			r.Class = "ecn-2"
		}
		waited := rng.IntN(7 * 24)
		if rng.IntN(7) == 0 {
			waited += 7 * 24
		}
		r.HandedIn = monday.Add(-time.Duration(waited) * time.Hour)
		if rng.IntN(3) > 0 {
			r.Due = ptr(r.HandedIn.AddDate(0, 0, 7+rng.IntN(15)))
		}
		r.Weight = int64(1+one(80, 15)) * int64(1+waited/(7*24))
		p.Rolls = append(p.Rolls, r)
	}
}

// book has members ask for places.
func (c coop) book(rng *rand.Rand, p *planner.Problem) {
	for i := range p.Rolls {
		if rng.IntN(100) >= c.bookings {
			continue
		}
		r := &p.Rolls[i]
		for _, s := range rng.Perm(len(p.Sessions))[:min(3, len(p.Sessions))] { // three tries
			r.Booked = p.Sessions[s].ID
			if fits, _, err := planner.Fits(context.Background(), c.only(p, r.Booked)); err != nil || fits {
				break
			}
			r.Booked = ""
		}
	}
	if fits, _, _ := planner.Fits(context.Background(), p); !fits { // reels, baths and cabinets of one session with another's
		for i := range p.Rolls {
			if i%2 == 0 {
				p.Rolls[i].Booked = ""
			}
		}
	}
}

// only is p with the bookings of one session alone.
func (c coop) only(p *planner.Problem, session string) *planner.Problem {
	q := *p
	q.Rolls = nil
	for _, r := range p.Rolls {
		if r.Booked == session {
			q.Rolls = append(q.Rolls, r)
		}
	}
	return &q
}
