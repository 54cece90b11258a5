package planner

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// TestContentsAreWorthMost holds what pricing finds in a session of one offer
// against trying all numbers of rolls of each type, in early runs and in others, where
// runs cost and where they are worth having: it is worth no less than with as few
// reels as can be, and no more than with any number of reels; and what is read off is
// worth what was promised.
func TestContentsAreWorthMost(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(11, 11))
	wanted, urgent, hurried := 0, 0, 0
	for round := range 2000 {
		pr, p, li := onePricing(rng, round)
		got := pr.session(p, li, 0)
		var least, most int64
		early, other := byTime(pr, p, li, true), byTime(pr, p, li, false)
		hurry := ofEarlyRun(p, li)
		if slices.Max(li.jumps[0]) == 0 && hurry >= 0 || li.early[0] == 0 { // no roll is in both
			clear(early)
		}
		if !li.strict { // early or not, all of them
			for a, e := range early {
				least, most = max(least, e[0], other[a][0]), max(most, e[1], other[a][1])
			}
			early = early[:1]
		}
		for a, e := range early[:min(int(li.part(pr.rx, 0)), len(early)-1)+1] {
			for _, o := range other[:sessionTime+1-a] {
				least, most = max(least, e[0]+o[0]), max(most, e[1]+o[1])
			}
		}
		if got < least || got > most || min(p.run, p.run+hurry) >= 0 && got != least {
			t.Fatalf("round %d: worth %d, of %d to %d", round, got, least, most)
		}
		if got == 0 {
			continue
		}
		if p.run < 0 {
			wanted++
		}
		c := pr.content(p, li, 0)
		if c.early > 0 {
			urgent++
			if hurry < 0 {
				hurried++
			}
		}
		// Reels may be less full than they could be, for the sake of their runs.
		if back := worthOfContent(pr, p, li, &c); back != got {
			t.Fatalf("round %d: what was read off is worth %d, not %d: %+v", round, back, got, c)
		}
	}
	if wanted < 100 || urgent < 100 || hurried < 100 {
		t.Errorf("runs were worth having in %d rounds only, early ones for their rolls in %d and by themselves in %d", wanted, urgent, hurried)
	}
}

// byTime is, by the time they take, what rolls in early runs or others are worth with
// as few reels as can be, and at most.
func byTime(pr *pricing, p *prices, li *limits, early bool) [][2]int64 {
	out := make([][2]int64, sessionTime+1)
	counts := make([]int64, len(pr.rx.types))
	var try func(t int)
	try = func(t int) {
		if t == len(counts) {
			worthOfCounts(pr, p, li, counts, early, out)
			return
		}
		for n := int64(0); n <= pr.rx.types[t].n; n++ {
			counts[t] = n
			try(t + 1)
		}
		counts[t] = 0
	}
	try(0)
	return out
}

// onePricing is a session of one offer with rolls on two kinds of reel.
func onePricing(rng *rand.Rand, round int) (*pricing, *prices, *limits) {
	o := offer{sets: []int{0}, kinds: []int{0, 1}, perRun: 10, warm: rng.Int64N(5), loads: []int64{1, 2}}
	o.box = &box{size: []int{5, 4}, holds: []int64{1, 1 + rng.Int64N(3)}, most: 30}
	patterns := stacks(100+rng.IntN(100), []int{20 + rng.IntN(50), 20 + rng.IntN(50)})
	o.box.full = maximal(patterns)
	o.box.fill(20)
	o.box.prepare(patterns, &o, wetTime)
	rx := &relaxation{
		m: &model{sess: []sessM{{}}, tanks: []tankM{{}}}, unit: 1,
		leads: []lead{{}}, sets: []setR{{area: never}}, sess: []sessionR{{length: sessionTime, offers: []offer{o}}},
	}
	p := &prices{run: rng.Int64N(60) - 30, area: []int64{0}}
	for k := range 2 + rng.IntN(3) {
		rx.types = append(rx.types, rollType{kind: k % 2, n: 1 + rng.Int64N(2), late: []int64{0}, jump: []int64{0}, dry: []int64{0}, moved: []int64{0}})
		rx.leads[0].types = append(rx.leads[0].types, k)
		p.roll = append(p.roll, rng.Int64N(40))
	}
	p.late = 1
	for k := range rx.types {
		rx.types[k].late[0] = rng.Int64N(30) // so that some are worth less than nothing
	}
	// A bath, whose time runs take with their preparation.
	bath := resource{kit: -1, perPrep: 1, perRun: func(*offer) int64 { return wetTime }}
	// Early runs, to be no more or no fewer than so many.
	sign := int64(rng.IntN(2)*2 - 1)
	hurry := resource{kit: -1, early: true, perRun: func(*offer) int64 { return sign }}
	p.row = []int64{rng.Int64N(3), rng.Int64N(40)}
	li := &limits{
		length: []int64{sessionTime}, dry: never, shut: []bool{false}, rows: []resource{bath, hurry}, byRow: [][]int{{0, 1}}, strict: round%2 == 0,
		early: []int64{max(rng.Int64N(50)-10, 0)}, jumps: [][]int64{make([]int64, len(rx.types))},
	}
	if !li.strict { // they are told apart only then
		p.row[1] = 0
	}
	for k := range rx.types {
		if round%3 > 0 {
			li.jumps[0][k] = 1 + rng.Int64N(15)
		}
	}
	return newPricing(rx), p, li
}

const (
	wetTime     = 5 // of the one class
	sessionTime = 60
)

// worthOfRoll is what a roll of a type is worth.
func worthOfRoll(pr *pricing, p *prices, li *limits, t int, early bool) int64 {
	v := p.roll[t] - pr.rx.types[t].late[0]
	if !early {
		v -= li.jumps[0][t]
	}
	return v
}

// worthOfCounts notes, by time, what numbers of rolls are worth with as few reels as
// can be, and the best they can be with any number of reels.
func worthOfCounts(pr *pricing, p *prices, li *limits, counts []int64, early bool, out [][2]int64) {
	rx := pr.rx
	o := &rx.sess[0].offers[0]
	var rolls, few [2]int64
	var sum int64
	for t, n := range counts {
		rolls[rx.types[t].kind] += n
		sum += n * worthOfRoll(pr, p, li, t, early)
	}
	for k := range few {
		few[k] = (rolls[k] + o.box.holds[k] - 1) / o.box.holds[k]
	}
	for x := few[0]; x <= rolls[0] && x < int64(o.box.size[0]); x++ {
		for y := few[1]; y <= rolls[1] && y < int64(o.box.size[1]); y++ {
			v, time := ofReels(pr, p, li, int(x), int(y), early)
			if time > sessionTime {
				continue
			}
			if out[time][1] = max(out[time][1], sum+v); x == few[0] && y == few[1] {
				out[time][0] = max(out[time][0], sum+v)
			}
		}
	}
}

// ofReels is what runs for numbers of reels are worth, and how long they take.
func ofReels(pr *pricing, p *prices, li *limits, x, y int, early bool) (worth, time int64) {
	o := &pr.rx.sess[0].offers[0]
	cell := o.box.cell([]int{x, y})
	runs := int64(o.box.runs[cell])
	if runs == 0 {
		return 0, never
	}
	run := p.run + p.row[0]*wetTime
	if early {
		run += ofEarlyRun(p, li)
	}
	return -runs*run - o.box.prep[cell]*p.row[0], runs*o.perRun + o.box.prep[cell]
}

// ofEarlyRun is what an early run costs more than another.
func ofEarlyRun(p *prices, li *limits) int64 { return p.row[1] * li.rows[1].perRun(nil) }

func worthOfContent(pr *pricing, p *prices, li *limits, c *content) int64 {
	var sum, early, all int64
	for _, it := range c.items {
		sum += it.n * worthOfRoll(pr, p, li, it.typ, it.early)
		if it.n > pr.rx.types[it.typ].n {
			return impossibly
		}
	}
	for _, l := range c.loads {
		worth, time := ofReels(pr, p, li, l.reels[0], l.reels[1], l.early)
		if slices.Min(l.reels) < 0 || len(c.loads) > 2 {
			return impossibly
		}
		sum, all = sum+worth, all+time
		if l.early {
			early += time
		}
	}
	if all > sessionTime || all != c.length || early != c.early || li.strict && early > li.part(pr.rx, 0) {
		return impossibly
	}
	return sum
}
