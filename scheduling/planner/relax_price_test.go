package planner

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// TestContentsAreWorthMost holds what pricing finds in a session of one offer
// against trying all numbers of rolls of each type, where runs cost and where they
// are worth having: it is worth no less than with as few reels as can be, and no more
// than with any number of reels; and what is read off is worth what was promised.
func TestContentsAreWorthMost(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(11, 11))
	wanted := 0
	for round := range 2000 {
		pr, p, li := onePricing(rng)
		rx := pr.rx
		got := pr.session(p, li, 0)
		var least, most int64
		counts := make([]int64, len(rx.types))
		var try func(t int)
		try = func(t int) {
			if t == len(counts) {
				low, high := worthOfCounts(pr, p, counts)
				least, most = max(least, low), max(most, high)
				return
			}
			for n := int64(0); n <= rx.types[t].n; n++ {
				counts[t] = n
				try(t + 1)
			}
			counts[t] = 0
		}
		try(0)
		if got < least || got > most || p.run >= 0 && got != least {
			t.Fatalf("round %d: worth %d, of %d to %d", round, got, least, most)
		}
		if got == 0 {
			continue
		}
		if p.run < 0 {
			wanted++
		}
		clear(counts)
		c := pr.content(p, li, 0)
		for _, it := range c.items {
			counts[it.typ] += it.n
		}
		// Reels may be less full than they could be, for the sake of their runs.
		if back := worthOfContent(pr, p, counts, &c); back != got {
			t.Fatalf("round %d: what was read off is worth %d, not %d", round, back, got)
		}
	}
	if wanted < 100 {
		t.Errorf("runs were worth having in %d rounds only", wanted)
	}
}

// onePricing is a session of one offer with rolls on two kinds of reel.
func onePricing(rng *rand.Rand) (*pricing, *prices, *limits) {
	o := offer{sets: []int{0}, kinds: []int{0, 1}, perRun: 10, warm: rng.Int64N(5), loads: []int64{1, 2}}
	o.box = &box{size: []int{5, 4}, holds: []int64{1, 1 + rng.Int64N(3)}, most: 30}
	patterns := stacks(100+rng.IntN(100), []int{20 + rng.IntN(50), 20 + rng.IntN(50)})
	o.box.full = maximal(patterns)
	o.box.fill(20)
	o.box.prepare(patterns, &o, wetTime)
	rx := &relaxation{
		m: &model{sess: []sessM{{}}, tanks: []tankM{{}}}, unit: 1, early: []int64{0},
		leads: []lead{{}}, sets: []setR{{area: never}}, sess: []sessionR{{length: 60, offers: []offer{o}}},
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
	p.row = []int64{rng.Int64N(3)}
	li := &limits{length: []int64{60}, dry: never, shut: []bool{false}, rows: []resource{bath}, byRow: [][]int{{0}}}
	return newPricing(rx), p, li
}

// wetTime is that of the one class.
const wetTime = 5

// worthOfCounts is what numbers of rolls are worth with as few reels as can be, and
// the best they can be with any number of reels.
func worthOfCounts(pr *pricing, p *prices, counts []int64) (least, most int64) {
	rx := pr.rx
	o := &rx.sess[0].offers[0]
	var rolls, few [2]int64
	var sum int64
	for t, n := range counts {
		rolls[rx.types[t].kind] += n
		sum += n * (p.roll[t] - rx.types[t].late[0])
	}
	for k := range few {
		few[k] = (rolls[k] + o.box.holds[k] - 1) / o.box.holds[k]
	}
	for x := few[0]; x <= rolls[0] && x < int64(o.box.size[0]); x++ {
		for y := few[1]; y <= rolls[1] && y < int64(o.box.size[1]); y++ {
			v := sum + ofReels(pr, p, int(x), int(y))
			if most = max(most, v); x == few[0] && y == few[1] {
				least = v
			}
		}
	}
	return least, most
}

// ofReels is what runs for numbers of reels are worth; far below 0 where there is no
// time for them.
func ofReels(pr *pricing, p *prices, x, y int) int64 {
	o := &pr.rx.sess[0].offers[0]
	cell := o.box.cell([]int{x, y})
	runs := int64(o.box.runs[cell])
	if runs == 0 || runs*o.perRun+o.box.prep[cell] > 60 {
		return impossibly
	}
	return -runs*(p.run+p.row[0]*wetTime) - o.box.prep[cell]*p.row[0]
}

func worthOfContent(pr *pricing, p *prices, counts []int64, c *content) int64 {
	var sum int64
	for t, n := range counts {
		sum += n * (p.roll[t] - pr.rx.types[t].late[0])
		if n > pr.rx.types[t].n {
			return impossibly
		}
	}
	if len(c.loads) != 1 || slices.Min(c.loads[0].reels) < 0 {
		return impossibly
	}
	return sum + ofReels(pr, p, c.loads[0].reels[0], c.loads[0].reels[1])
}
