package planner

import (
	"cmp"
	"math/bits"
	"slices"
)

// joinProcesses groups processes that share a bath set or a bath.
func (bd *bounds) joinProcesses() {
	m := bd.m
	bd.group = make([]int, len(m.processes))
	for i := range bd.group {
		bd.group[i] = i
	}
	join := func(a, b int) {
		from, to := bd.group[a], bd.group[b]
		for i := range bd.group {
			if bd.group[i] == from {
				bd.group[i] = to
			}
		}
	}
	firstUse := make([]int, len(m.baths))
	for i := range firstUse {
		firstUse[i] = -1
	}
	for s := range m.sets {
		for p, ok := range m.sets[s].serves {
			if !ok {
				continue
			}
			for _, b := range m.sets[s].baths {
				if firstUse[b] < 0 {
					firstUse[b] = p
				}
				join(p, firstUse[b])
			}
		}
	}
	for s := range m.sets {
		first := -1
		for p, ok := range m.sets[s].serves {
			if ok && first < 0 {
				first = p
			}
			if ok {
				join(p, first)
			}
		}
	}
}

// components are the groups, each once.
func (bd *bounds) components() []int {
	out := slices.Clone(bd.group)
	slices.Sort(out)
	return slices.Compact(out)
}

// A kitM is a set still on the shelf: its area at most and its price.
type kitM struct{ area, price int64 }

// capacity is the film area that a component's mixed sets can take at most,
// and its kits.
func (bd *bounds) capacity(g int, rolls []int) (mixed int64, kits []kitM) {
	m := bd.m
	for s := range m.sets {
		serves := slices.ContainsFunc(rolls, func(i int) bool { return bd.of(i).inSet[s] })
		if !serves {
			continue
		}
		left := int64(never)
		for _, b := range m.sets[s].baths {
			ba := &m.baths[b]
			left = min(left, ba.area-m.base.area[b])
			if ba.oneShot && ba.run > 0 {
				left = min(left, (ba.volume-m.base.drawn[b])*ba.run/1000)
			}
		}
		left = max(left, 0)
		if m.sets[s].mix && m.base.mixedAt[s] == never {
			kits = append(kits, kitM{left, m.sets[s].price})
		} else {
			mixed = min(mixed+left, never)
		}
	}
	return mixed, kits
}

// chemistryBound is the least price of kits that the film to be placed needs,
// and what of mixed sets expires even if all film that may use them does.
func (bd *bounds) chemistryBound(w *worth) int64 {
	m := bd.m
	var sum int64
	for _, g := range bd.components() {
		rolls := bd.rollsOf(g, func(int) bool { return true })
		mixed, kits := bd.capacity(g, rolls)
		slack := bd.slackOf(g, w)
		need := bd.areaAtLeast(rolls, slack, w[displaced] == 0)
		sum += max(cheapestKits(kits, need-mixed), bd.forcedKit(rolls, slack, w[displaced] == 0))
	}
	used := slices.Clone(m.base.area)
	for _, s := range m.waste {
		copy(used, m.base.area)
		for _, b := range m.sets[s].baths {
			var areas []int64
			for i := range m.rolls {
				if bd.of(i).possible && bd.mayUse(m.class[m.rolls[i].class].process, b) {
					areas = append(areas, m.rolls[i].area)
				}
			}
			used[b] += fill(areas, m.baths[b].area-used[b])
		}
		sum += m.unusedCost(s, used)
	}
	return sum
}

// mostSums bounds how many sums fill keeps.
const mostSums = 4_000

// fill is the most that a choice of the areas adds up to within room. Where
// there are too many sums to keep, it is room or all of them.
func fill(areas []int64, room int64) int64 {
	var all int64
	for _, a := range areas {
		all = min(all+a, never)
	}
	if all <= room {
		return all
	}
	sums := []int64{0}
	for _, a := range areas {
		for _, s := range sums {
			if s+a <= room {
				sums = append(sums, s+a)
			}
		}
		slices.Sort(sums)
		if sums = slices.Compact(sums); len(sums) > mostSums {
			return room
		}
	}
	return sums[len(sums)-1]
}

// mayUse says that some set of the process has the bath.
func (bd *bounds) mayUse(process, bath int) bool {
	return slices.ContainsFunc(bd.m.setsOf[process], func(s int) bool { return slices.Contains(bd.m.sets[s].baths, bath) })
}

// areaAtLeast is the film area that must be placed: all of it but what the
// slack of level 2 pays for at most, by a fractional knapsack.
func (bd *bounds) areaAtLeast(rolls []int, slack int64, heldStay bool) int64 {
	type item struct{ area, extra int64 }
	var total, out int64
	var items []item
	for _, i := range rolls {
		r := &bd.m.rolls[i]
		total += r.area
		if !(heldStay && r.held != noHold) {
			items = append(items, item{r.area, bd.of(i).extra})
		}
	}
	slices.SortFunc(items, func(a, b item) int { // most area for its extra first
		switch {
		case a.extra == 0 || b.extra == 0:
			return cmp.Compare(a.extra, b.extra)
		}
		ah, al := bits.Mul64(uint64(a.area), uint64(b.extra))
		bh, bl := bits.Mul64(uint64(b.area), uint64(a.extra))
		return cmp.Or(cmp.Compare(bh, ah), cmp.Compare(bl, al))
	})
	for _, it := range items {
		if it.extra > slack {
			// What is left of the slack buys at most the best rate still to
			// come, rounded up.
			if it.extra > 0 && slack > 0 {
				out += it.area
			}
			break
		}
		slack -= it.extra
		out += it.area
	}
	return total - out
}

// cheapestKits is the least that kits for an area cost: as few as the largest
// make it, at the lowest prices.
func cheapestKits(kits []kitM, need int64) int64 {
	if need <= 0 {
		return 0
	}
	areas, prices := make([]int64, len(kits)), make([]int64, len(kits))
	for i, k := range kits {
		areas[i], prices[i] = k.area, k.price
	}
	slices.SortFunc(areas, func(a, b int64) int { return cmp.Compare(b, a) })
	slices.Sort(prices)
	var sum int64
	for i := 0; i < len(kits) && need > 0; i++ {
		need -= areas[i]
		sum += prices[i]
	}
	return sum
}

// forcedKit is the dearest kit that one roll needs, at its cheapest, because no
// mixed set can take it.
func (bd *bounds) forcedKit(rolls []int, slack int64, heldStay bool) int64 {
	m := bd.m
	var most int64
	for _, i := range rolls {
		a := bd.of(i)
		if a.extra <= slack && !(heldStay && m.rolls[i].held != noHold) {
			continue
		}
		price := int64(never)
		for s, ok := range a.inSet {
			if !ok {
				continue
			}
			if m.sets[s].mix && m.base.mixedAt[s] == never {
				price = min(price, m.sets[s].price)
			} else {
				price = 0
			}
		}
		if price < never {
			most = max(most, price)
		}
	}
	return most
}
