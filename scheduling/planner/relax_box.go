package planner

import (
	"fmt"
	"slices"
)

// A box tells, for every number of reels of each kind up to some, how many runs
// of one tank they need at least: bin packing over the few kinds there are, by
// dynamic programming over all numbers.
type box struct {
	size  []int // by kind: one more than the most reels
	holds []int64
	runs  []uint8 // by numbers, the last kind moving fastest; most+1: too many
	most  uint8
	// full are the fullest numbers that one run takes.
	full [][]int
	// prep is by numbers how long loading or warming up, whichever is longer in
	// each run, takes at least, given that a run more takes its wet time.
	prep  []int64
	every []fullRun // that one run takes
}

// A fullRun is the reels of one run, and how long they take to prepare.
type fullRun struct {
	numbers []int
	cell    int
	prep    int64
}

// boxOf makes, or finds, the box of an offer; nil where it would be too large.
func (rx *relaxation) boxOf(o *offer, s int) *box {
	m := rx.m
	tank := &m.tanks[m.sess[s].tank]
	most := rx.longest[m.sess[s].tank] / max(o.perRun+o.warm, 1)
	most = min(most, rx.rolls, 200)
	area, least := int64(0), make([]int64, len(o.kinds))
	for _, set := range o.sets {
		area = max(area, m.runArea(set, tank.volume))
	}
	avail := make([]int64, len(o.kinds)) // reels
	for i, k := range o.kinds {
		least[i] = never
		for _, t := range rx.leads[o.lead].types {
			if ty := &rx.types[t]; ty.kind == k && ty.late[s] < never {
				avail[i] += ty.n
				least[i] = min(least[i], ty.area)
			}
		}
		holds := m.kinds[k].holds
		avail[i] = min((avail[i]+holds-1)/holds, min(m.kinds[k].count, tank.height/m.kinds[k].height)*most)
	}
	wet := m.class[rx.leads[o.lead].class].wet
	key := fmt.Sprint(m.sess[s].tank, o.kinds, area, least, avail, most, wet, o.warm)
	if old, ok := rx.boxes[key]; ok {
		return old
	}
	patterns := rx.patterns(o, tank, area, least, avail)
	if len(patterns) > mostPatterns {
		return nil
	}
	cells := int64(1)
	b := &box{most: uint8(most)}
	for i, k := range o.kinds {
		b.size = append(b.size, int(avail[i])+1)
		b.holds = append(b.holds, m.kinds[k].holds)
		if cells *= avail[i] + 1; cells > mostBox {
			return nil
		}
	}
	b.full = maximal(patterns)
	b.fill(int(cells))
	b.prepare(patterns, o, wet)
	rx.boxes[key] = b
	return b
}

// runArea is the most film that one run of a set in so large a tank can hold.
func (m *model) runArea(set int, volume int64) int64 {
	area := int64(never)
	for _, b := range m.sets[set].baths {
		ba := &m.baths[b]
		if ba.run < 0 {
			continue
		}
		area = min(area, ba.run*min(ba.volume, volume)/1000)
		if ba.oneShot {
			area = min(area, ba.run*volume/1000)
		}
	}
	return area
}

// mostPatterns bounds the contents of one run that are listed.
const mostPatterns = 3_000

// patterns lists the numbers of reels of each kind that one run can hold; films
// count with the least area of their kind, reels but the last of a kind as full.
func (rx *relaxation) patterns(o *offer, tank *tankM, area int64, least, avail []int64) [][]int {
	m := rx.m
	var out [][]int
	now := make([]int, len(o.kinds))
	var grow func(i int, height, volume, area int64)
	grow = func(i int, height, volume, area int64) {
		if len(out) > mostPatterns {
			return
		}
		if i == len(o.kinds) {
			out = append(out, slices.Clone(now))
			return
		}
		k := &m.kinds[o.kinds[i]]
		for reels := int64(0); reels <= min(avail[i], k.count); reels++ {
			h, v := height-reels*k.height, volume-reels*k.solution
			if h < 0 || v < 0 {
				break
			}
			a := area
			if area < never && reels > 0 {
				// All but the last reel are full.
				if a -= ((reels-1)*k.holds + 1) * least[i]; a < 0 {
					break
				}
			}
			now[i] = int(reels)
			grow(i+1, h, v, a)
		}
		now[i] = 0
	}
	grow(0, tank.height, tank.volume, area)
	return out
}

// maximal drops what another holds all of.
func maximal(patterns [][]int) [][]int {
	var out [][]int
	for i, p := range patterns {
		dominated := false
		for j, q := range patterns {
			if i == j {
				continue
			}
			all, same := true, true
			for k := range p {
				all = all && q[k] >= p[k]
				same = same && q[k] == p[k]
			}
			if all && (!same || j < i) {
				dominated = true
				break
			}
		}
		if !dominated {
			out = append(out, p)
		}
	}
	return out
}

func (b *box) fill(cells int) {
	b.runs = make([]uint8, cells)
	stride := make([]int, len(b.size))
	at := 1
	for i := len(b.size) - 1; i >= 0; i-- {
		stride[i] = at
		at *= b.size[i]
	}
	n := make([]int, len(b.size))
	for c := 1; c < cells; c++ {
		b.count(n)
		best := b.most + 1
		for _, p := range b.full {
			rest := c
			for i, take := range p {
				rest -= min(take, n[i]) * stride[i]
			}
			if rest < c {
				best = min(best, b.runs[rest]+1)
			}
		}
		b.runs[c] = min(best, b.most+1)
	}
}

// mostPrepared bounds the work of finding how long runs take to prepare; beyond
// it, loading and warming up count in sum.
const mostPrepared = 400_000

// prepare finds how long it takes to prepare the runs of all numbers.
func (b *box) prepare(patterns [][]int, o *offer, wet int64) {
	b.prep = make([]int64, len(b.runs))
	exact := len(patterns)*len(b.runs) <= mostPrepared
	if exact {
		for _, p := range patterns {
			r := fullRun{numbers: p, cell: b.cell(p)}
			for d, n := range p {
				r.prep += int64(n) * o.loads[d]
			}
			if r.prep = max(r.prep, o.warm); r.cell > 0 {
				b.every = append(b.every, r)
			}
		}
	}
	n := make([]int, len(b.size))
	for c := 1; c < len(b.runs); c++ {
		b.count(n)
		runs := int64(b.runs[c])
		if !exact || runs > int64(b.most) {
			var load int64
			for d, k := range n {
				load += int64(k) * o.loads[d]
			}
			b.prep[c] = max(load, runs*o.warm)
			continue
		}
		least := int64(never)
		for i := range b.every {
			r := &b.every[i]
			if r.fits(n) {
				rest := c - r.cell
				least = min(least, r.prep+b.prep[rest]+int64(b.runs[rest])*wet)
			}
		}
		b.prep[c] = least - (runs-1)*wet
	}
}

func (r *fullRun) fits(n []int) bool {
	for d, k := range r.numbers {
		if k > n[d] {
			return false
		}
	}
	return true
}

// count moves numbers on to the next cell's.
func (b *box) count(n []int) {
	for i := len(n) - 1; i >= 0; i-- {
		if n[i]++; n[i] < b.size[i] {
			return
		}
		n[i] = 0
	}
}

// cell is where numbers are.
func (b *box) cell(n []int) int {
	c := 0
	for d := range n {
		c = c*b.size[d] + n[d]
	}
	return c
}

// split takes numbers of reels apart into as few runs as can be, those that are
// prepared soonest.
func (b *box) split(numbers []int) [][]int {
	n := slices.Clone(numbers)
	var out [][]int
	for c := b.cell(n); c > 0; c = b.cell(n) {
		found := false
		for i := range b.every {
			r := &b.every[i]
			if !r.fits(n) {
				continue
			}
			if rest := c - r.cell; b.runs[rest]+1 == b.runs[c] && r.prep+b.prep[rest] == b.prep[c] {
				out, found = append(out, r.numbers), true
				for d, k := range r.numbers {
					n[d] -= k
				}
				break
			}
		}
		if found {
			continue
		}
		for _, p := range b.full {
			rest, take := slices.Clone(n), make([]int, len(n))
			for d := range p {
				take[d] = min(p[d], n[d])
				rest[d] -= take[d]
			}
			if r := b.cell(rest); r < c && b.runs[r]+1 == b.runs[c] {
				out, n, found = append(out, take), rest, true
				break
			}
		}
		if !found {
			return out
		}
	}
	return out
}
