package planner

import (
	"cmp"
	"math"
	"slices"
)

// What a set wastes is settled by how many rolls of each area it takes. Few such
// fillings waste little, and each can be looked at by itself.

// mostFillings bounds the fillings of one set that are listed.
const mostFillings = 200

// A filling is how many rolls of each area a set takes, and what it then wastes.
type filling struct {
	counts []int64
	wasted int64
}

// fillings lists the ways of filling a set that waste no less than one price and no
// more than another, those that waste least first; nil where there are too many.
func (ma *master) fillings(set int, least, wasted int64) (areas []int64, out []filling) {
	rx := ma.rx
	se := &rx.sets[set]
	most := make(map[int64]int64) // rolls by area
	for t := range rx.types {
		if rx.couldUse(t, set) {
			most[rx.types[t].area] += rx.types[t].n
		}
	}
	for a := range most {
		areas = append(areas, a)
	}
	slices.SortFunc(areas, func(a, b int64) int { return cmp.Compare(b, a) })
	rest := make([]int64, len(areas)+1) // what those from one on can fill at most
	for i := len(areas) - 1; i >= 0; i-- {
		rest[i] = rest[i+1] + areas[i]*most[areas[i]]
	}
	price := func(left int64) int64 { return wastedPrice(left, se.waste) }
	counts := make([]int64, len(areas))
	looked := 0
	var grow func(i int, left int64)
	grow = func(i int, left int64) {
		if looked++; looked > 100*mostFillings || price(max(left-rest[i], 0)) > wasted {
			return
		}
		if i == len(areas) {
			if p := price(left); p >= least {
				out = append(out, filling{slices.Clone(counts), p})
			}
			return
		}
		for n := min(most[areas[i]], left/areas[i]); n >= 0; n-- {
			counts[i] = n
			grow(i+1, left-n*areas[i])
		}
		counts[i] = 0
	}
	grow(0, se.unused)
	if looked > 100*mostFillings || len(out) > mostFillings {
		return nil, nil
	}
	slices.SortStableFunc(out, func(a, b filling) int { return cmp.Compare(a.wasted, b.wasted) })
	return areas, out
}

// couldUse says that rolls of a type may be in a run of a set.
func (rx *relaxation) couldUse(t, set int) bool {
	for i := range rx.sess {
		if rx.types[t].late[rx.sess[i].index] >= never {
			continue
		}
		for k := range rx.sess[i].offers {
			o := &rx.sess[i].offers[k]
			if slices.Contains(o.sets, set) && slices.Contains(rx.leads[o.lead].types, t) {
				return true
			}
		}
	}
	return false
}

// wasters are the sets whose unused capacity costs something, those with least
// film for them first.
func (rx *relaxation) wasters() []int {
	var out []int
	for s := range rx.sets {
		if rx.sets[s].waste > 0 && rx.sets[s].unused > 0 {
			out = append(out, s)
		}
	}
	slices.SortStableFunc(out, func(a, b int) int { return cmp.Compare(rx.filmFor(a), rx.filmFor(b)) })
	return out
}

// fillers says of each type whether it could use a set whose unused capacity costs
// something.
func (rx *relaxation) fillers() []bool {
	if rx.fills == nil {
		wasters := rx.wasters()
		for t := range rx.types {
			rx.fills = append(rx.fills, slices.ContainsFunc(wasters, func(s int) bool { return rx.couldUse(t, s) }))
		}
	}
	return rx.fills
}

// filmFor is the area of all film that could use a set.
func (rx *relaxation) filmFor(set int) int64 {
	var sum int64
	for t := range rx.types {
		if rx.couldUse(t, set) {
			sum = min(sum+rx.types[t].n*rx.types[t].area, never)
		}
	}
	return sum
}

// leastWaste is what some sets waste at least.
func (rx *relaxation) leastWaste(sets []int) int64 {
	var sum int64
	for _, s := range sets {
		sum = min(sum+wastedPrice(max(rx.sets[s].unused-rx.filmFor(s), 0), rx.sets[s].waste), never)
	}
	return sum
}

// fill bounds the goal, chemistry, by looking at the fillings of one set after
// another, and splitting what has all filled; cost is what kits and settled sets
// cost. It gives the bound, which is the target at most, and what was solved last
// of the plans that have it, if any.
func (tr *tree) fill(ma *master, sets []int, cost int64) (int64, *master) {
	rx := ma.rx
	bound := max(rx.whole(ma), cost)
	if bound >= ma.goal.target {
		return ma.goal.target, nil
	}
	if rx.waste != len(rx.m.waste) {
		return bound, ma
	}
	if len(sets) == 0 {
		ok, leaf := tr.split(ma)
		if ok {
			return ma.goal.target, nil
		}
		if leaf == nil {
			leaf = ma
		}
		return bound, leaf
	}
	least, others := int64(0), rx.leastWaste(sets[1:])
	if len(sets) == 1 {
		least = bound - cost // less is known not to be had
	}
	areas, fillings := ma.fillings(sets[0], least, ma.goal.target-1-cost-others)
	if areas == nil {
		return bound, ma
	}
	best, leaf := ma.goal.target, (*master)(nil)
	for _, f := range fillings {
		if cost+f.wasted+others >= best || best <= bound {
			break
		}
		if *tr.splits <= 0 || tr.expired() {
			return max(bound, min(best, cost+f.wasted+others)), leaf
		}
		c := ma.filled(sets[0], areas, f.counts, tr.splits, tr.expired)
		if b, at := tr.fill(c, sets[1:], cost+f.wasted); b < best {
			best, leaf = b, at
		}
	}
	return max(best, bound), leaf
}

// fewFillings is up to how many fillings of a set a goal below chemistry is looked at
// for each.
const fewFillings = 12

// splitFilled is split for each way of filling some sets that wastes no more than what
// is left for it, where there are few.
func (tr *tree) splitFilled(ma *master, sets []int, left int64) (bool, *master) {
	rx := ma.rx
	if len(sets) == 0 || ma.goal.kits == nil || rx.waste != len(rx.m.waste) || rx.whole(ma) >= ma.goal.target {
		return tr.split(ma)
	}
	areas, fillings := ma.fillings(sets[0], 0, left-rx.leastWaste(sets[1:]))
	if areas == nil || len(fillings) > fewFillings {
		return tr.split(ma)
	}
	proved := true
	for _, f := range fillings {
		c := ma.filled(sets[0], areas, f.counts, tr.splits, tr.expired)
		ok, leaf := tr.splitFilled(c, sets[1:], left-f.wasted)
		if !ok && (leaf != nil || tr.land == nil || *tr.splits <= 0 || tr.expired()) {
			return false, leaf
		}
		proved = proved && ok
	}
	return proved, nil
}

// filled is the master with a set filled in one way: rows for the counts that are
// not so by themselves.
func (ma *master) filled(set int, areas, counts []int64, nodes *int, expired func() bool) *master {
	for *nodes > 0 && !expired() && ma.rx.whole(ma) < ma.goal.target {
		have := ma.counts()
		far, at, sign := 1e-4, -1, int64(1)
		for i, a := range areas {
			v := have[countKey{countFill, int64(set), a}]
			if d := v - float64(counts[i]); math.Abs(d) > far {
				far, at, sign = math.Abs(d), i, 1
				if d < 0 {
					sign = -1
				}
			}
		}
		if at < 0 {
			return ma
		}
		*nodes--
		c := ma.child(ma.rx.row(countKey{countFill, int64(set), areas[at]}, sign, sign*counts[at]))
		c.half = false // its optimum tells which row is next
		c.generate(childPivots, childRounds, expired)
		ma = c
	}
	return ma
}

// mostFullest is how many fillings of one set are looked at to land on.
const mostFullest = 4

// fullest is a master in which sets that waste what is left are filled in whole
// rolls, in the way that costs least of those that waste least, or itself where
// there is none.
func (ma *master) fullest(expired func() bool) *master {
	if ma.full != nil {
		return ma.full
	}
	full := ma.fill(expired)
	if !expired() {
		ma.full = full
	}
	return full
}

// fill works out what fullest is.
func (ma *master) fill(expired func() bool) *master {
	rx := ma.rx
	left := ma.goal.worth[chemistry] - ma.paid
	if ma.goal.kits == nil || rx.waste != len(rx.m.waste) || left < 0 {
		return ma
	}
	whole := ma
	wasters := rx.wasters()
	for n, set := range wasters {
		least := int64(0)
		if n == len(wasters)-1 { // no less is to be expected
			least = max(left-1, 0)
		}
		areas, fillings := ma.fillings(set, least, left-rx.leastWaste(wasters[n+1:]))
		var best *master
		wasted := int64(0)
		for _, f := range fillings[:min(len(fillings), mostFullest)] {
			nodes := len(areas) + 2
			c := whole.filled(set, areas, f.counts, &nodes, expired)
			if best == nil || c.sx.objective() < best.sx.objective()-1e-6 {
				best, wasted = c, f.wasted
			}
			if expired() || best.sx.objective() < ma.sx.objective()+1e-6 {
				break
			}
		}
		if best == nil {
			return ma
		}
		whole, left = best, left-wasted
	}
	return whole
}
