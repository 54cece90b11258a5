package planner

import (
	"cmp"
	"math/bits"
	"slices"
)

// mostSlack bounds the steps in which the slack of level 2 is spent.
const mostSlack = 500

// runsBound is how many runs the rolls need at least that no plan of worth w
// leaves out. Leaving rolls out saves runs and costs slack of level 2, of which
// each bath component spends what it must in any case; a knapsack over what
// cannot share a batch finds the most that can be saved.
func (bd *bounds) runsBound(w *worth) int64 {
	slack := max(w[lateness]-bd.base, 0)
	// Costs rounded down and the slack with them keep the bound on the safe side.
	scale := slack/mostSlack + 1
	need := make([]int64, slack/scale+1) // runs, by what is spent
	groups := bd.m.sharing()
	for _, g := range bd.components() {
		inside := make([]int64, len(need))
		for _, classes := range groups {
			rolls := bd.rollsOf(g, func(i int) bool { return slices.Contains(classes, bd.m.rolls[i].class) })
			if len(rolls) > 0 {
				inside = spend(inside, bd.savings(rolls, w), scale)
			}
		}
		need = together(need, inside, bd.forced[g]/scale)
	}
	return max(need[len(need)-1], 0)
}

// sharing groups the classes that may, directly or through others, share a batch.
func (m *model) sharing() [][]int {
	group := make([]int, len(m.class))
	for i := range group {
		group[i] = i
		for j := range i {
			if m.share(i, j) {
				from, to := group[i], group[j]
				for k := range i + 1 {
					if group[k] == from {
						group[k] = to
					}
				}
			}
		}
	}
	out := make([][]int, len(m.class))
	for i, g := range group {
		out[g] = append(out[g], i)
	}
	return slices.DeleteFunc(out, func(g []int) bool { return len(g) == 0 })
}

// A saving is a number of runs and what it costs at least, at level 2, to
// need no more.
type saving struct{ runs, cost int64 }

// spend adds to what is needed the runs of one more group, by what is spent.
func spend(need []int64, options []saving, scale int64) []int64 {
	out := make([]int64, len(need))
	for c := range out {
		out[c] = never
		for _, o := range options {
			if cost := o.cost / scale; cost <= int64(c) {
				out[c] = min(out[c], need[int64(c)-cost]+o.runs)
			}
		}
	}
	return out
}

// together is the least of two needs by what is spent on both, of which the
// second spends a part in any case.
func together(a, b []int64, least int64) []int64 {
	out := make([]int64, len(a))
	for c := range out {
		out[c] = never
		for s := range c + 1 {
			if spent := max(int64(s), least); spent <= int64(c) {
				out[c] = min(out[c], a[int64(c)-spent]+b[s])
			}
		}
	}
	return out
}

// savings are the numbers of runs that rolls of one group may come down to.
func (bd *bounds) savings(rolls []int, w *worth) []saving {
	var stay []int
	cheapest := int64(never)
	for _, i := range rolls {
		if bd.stays(i, w) {
			stay = append(stay, i)
		} else {
			cheapest = min(cheapest, bd.of(i).extra)
		}
	}
	all := bd.runsApart(rolls)
	out := []saving{{all, 0}}
	for runs := bd.runsApart(stay); runs < all && cheapest < never; runs++ {
		// One at least goes; how many more is read off what is too much.
		if cost := max(cheapest, bd.costOf(rolls, runs, w)); cost < never {
			out = append(out, saving{runs, cost})
		}
	}
	return out
}

// costOf is what it costs at level 2 at least that the rolls fit a number of
// runs by height, by film area and by stock of reels, each taken for itself.
func (bd *bounds) costOf(rolls []int, runs int64, w *worth) int64 {
	m := bd.m
	tallest, largest := bd.largestRun(rolls)
	denominator := int64(1) // heights are shares of reels that hold several
	for _, i := range rolls {
		holds := m.kinds[m.rolls[i].kind].holds
		denominator = denominator / gcd(denominator, holds) * holds
	}
	var cost int64
	if denominator < 1_000_000 {
		height := func(i int) int64 {
			k := &m.kinds[m.rolls[i].kind]
			return k.height * denominator / k.holds
		}
		cost = bd.removing(rolls, height, runs*tallest*denominator, w)
	}
	if largest < never {
		cost = max(cost, bd.removing(rolls, func(i int) int64 { return m.rolls[i].area }, runs*largest, w))
	}
	for k := range m.kinds {
		one := func(i int) int64 {
			if m.rolls[i].kind == k {
				return 1
			}
			return 0
		}
		cost = max(cost, bd.removing(rolls, one, runs*m.kinds[k].count*m.kinds[k].holds, w))
	}
	return cost
}

// removing is what leaving rolls out costs at least, so that what is left
// measures no more than room: a fractional knapsack, rounded up. It is never
// when those that stay measure more.
func (bd *bounds) removing(rolls []int, size func(int) int64, room int64, w *worth) int64 {
	type item struct{ size, extra int64 }
	var items []item
	over := -room
	for _, i := range rolls {
		n := size(i)
		over += n
		if n > 0 && !bd.stays(i, w) {
			items = append(items, item{n, bd.of(i).extra})
		}
	}
	slices.SortFunc(items, func(a, b item) int { // least extra for its size first
		ah, al := bits.Mul64(uint64(a.extra), uint64(b.size))
		bh, bl := bits.Mul64(uint64(b.extra), uint64(a.size))
		return cmp.Or(cmp.Compare(ah, bh), cmp.Compare(al, bl))
	})
	var cost int64
	for _, it := range items {
		if over <= 0 {
			break
		}
		if it.size > over {
			hi, lo := bits.Mul64(uint64(it.extra), uint64(over))
			part, rest := bits.Div64(hi, lo, uint64(it.size))
			if rest > 0 {
				part++
			}
			return cost + int64(part)
		}
		over -= it.size
		cost += it.extra
	}
	if over > 0 {
		return never
	}
	return cost
}

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// runsApart is runsFor, and more where rolls held to different sessions cannot
// share a run.
func (bd *bounds) runsApart(rolls []int) int64 {
	held := make(map[int][]int)
	for _, i := range rolls {
		if s := bd.m.rolls[i].held; s != noHold {
			held[s] = append(held[s], i)
		}
	}
	var apart int64
	for _, here := range held {
		apart += bd.runsFor(here)
	}
	return max(bd.runsFor(rolls), apart)
}

// largestRun is the height and the film area that one run of any of the rolls
// can have at most; never where nothing bounds the area.
func (bd *bounds) largestRun(rolls []int) (height, area int64) {
	m := bd.m
	for s := range m.sess {
		for _, i := range rolls {
			if bd.of(i).at[s] < never {
				height = max(height, m.tanks[m.sess[s].tank].height)
				bd.work(len(rolls))
				area = max(area, bd.runArea(s, rolls))
				break
			}
		}
	}
	return height, area
}

// runsFor is the least number of runs for rolls of one group.
func (bd *bounds) runsFor(rolls []int) int64 {
	m := bd.m
	if len(rolls) == 0 {
		return 0
	}
	tallest, largest := bd.largestRun(rolls)
	byKind := make([]int64, len(m.kinds))
	var height, area int64
	for _, i := range rolls {
		byKind[m.rolls[i].kind]++
		area += m.rolls[i].area
	}
	least := int64(1)
	for k, n := range byKind {
		kind := &m.kinds[k]
		reels := (n + kind.holds - 1) / kind.holds
		height += reels * kind.height
		if kind.count > 0 {
			least = max(least, (reels+kind.count-1)/kind.count)
		}
	}
	if tallest > 0 {
		least = max(least, (height+tallest-1)/tallest)
	}
	if largest > 0 && largest < never {
		least = max(least, (area+largest-1)/largest)
	}
	if bd.quick {
		return least
	}
	return max(least, bd.packedRuns(rolls))
}

// runArea is the most film that one run in a session can hold for any of the
// rolls.
func (bd *bounds) runArea(sess int, rolls []int) int64 {
	m := bd.m
	volume := m.tanks[m.sess[sess].tank].volume
	var most int64
	for s := range m.sets {
		usable := false
		for _, i := range rolls {
			usable = usable || bd.of(i).inSet[s]
		}
		if !usable {
			continue
		}
		area := int64(never)
		for _, b := range m.sets[s].baths {
			if ba := &m.baths[b]; ba.run >= 0 {
				area = min(area, ba.run*min(ba.volume, volume)/1000)
			}
		}
		most = max(most, area)
	}
	return most
}
