package planner

import (
	"cmp"
	"fmt"
	"math/bits"
	"slices"
)

// mostChoices bounds the choices of kits that are looked at one by one.
const mostChoices = 24

// A kitChoice is which kits are mixed, with their price.
type kitChoice struct {
	kits  []choice
	price int64
}

// kitChoices lists all choices of kits, the cheapest first; nil where there are
// too many. Of kits that are alike the cheapest are mixed first.
func (rx *relaxation) kitChoices() []kitChoice {
	if rx.choices != nil {
		return rx.choices
	}
	out := []kitChoice{{kits: make([]choice, len(rx.sets))}}
	for s := range rx.sets {
		if !rx.sets[s].kit {
			continue
		}
		n := len(out)
		for i := range n {
			out[i].kits = slices.Clone(out[i].kits)
			out[i].kits[s] = shut
			with := kitChoice{slices.Clone(out[i].kits), out[i].price + rx.sets[s].price}
			with.kits[s] = mixed
			out = append(out, with)
		}
		out = slices.DeleteFunc(out, func(c kitChoice) bool { return !rx.ordered(c.kits, s) })
		if len(out) > mostSums {
			return nil
		}
	}
	slices.SortStableFunc(out, func(a, b kitChoice) int { return cmp.Compare(a.price, b.price) })
	rx.choices = out
	return out
}

// ordered says that of kits up to one that are alike the cheapest are mixed first.
func (rx *relaxation) ordered(kits []choice, upTo int) bool {
	for o := range upTo {
		if !rx.sets[o].kit || kits[o] == kits[upTo] || !rx.m.alikeKits(o, upTo) {
			continue
		}
		sooner := o // which of the two is to be mixed first
		if rx.sets[upTo].price < rx.sets[o].price {
			sooner = upTo
		}
		if kits[sooner] == shut {
			return false
		}
	}
	return true
}

// prove bounds a goal from below, kits being whole: the least bound of all
// choices of kits. It gives the bound and the master of the choice that has it.
//
// So many times at most, if any are given, a goal is split to prove more of it;
// land, if any, makes plans of what is whole.
func (rx *relaxation) prove(g goal, splits int, land func(*master) bool, expired func() bool) (int64, *master) {
	return rx.proveIn(g, &splits, land, expired)
}

// proveIn also says how many splits are left.
func (rx *relaxation) proveIn(g goal, splits *int, land func(*master) bool, expired func() bool) (int64, *master) {
	some := *splits > 0
	look := func(kits []choice) (int64, *master) {
		g.kits = kits
		ma := rx.narrowed(g, expired)
		if !some {
			return rx.whole(ma), ma
		}
		return ma.deepen(splits, land, expired)
	}
	choices := rx.kitChoices()
	if g.level < chemistry || choices == nil {
		return look(nil)
	}
	best, tried := int64(never), 0
	var at *master
	for _, c := range choices {
		// A choice that is refused cannot be had; those dearer than the target say no more.
		if rx.refused[refusal(c.kits, &g.worth, g.upTo)] || g.finish > 0 && g.upTo == runs && rx.refused[refusal(c.kits, &g.worth, finish)] {
			continue
		}
		if g.level == chemistry {
			if c.price >= min(best, g.target) {
				return min(best, c.price), at
			}
		} else if c.price > g.worth[chemistry] {
			break
		}
		short := false
		if inTime(func() { short = rx.short(c.kits, &g) || g.finish > 0 && rx.endsLater(c.kits, &g) }); short {
			continue
		}
		if tried++; tried > mostChoices || expired() {
			if g.level == chemistry {
				return min(best, c.price), at
			}
			return 0, at
		}
		b, ma := look(c.kits)
		if b > g.worth[g.level] && g.finish == 0 && !expired() {
			rx.refused[refusal(c.kits, &g.worth, g.level+1)] = true
		}
		if b < best {
			best, at = b, ma
		}
	}
	if best == never { // no choice of kits goes with the values above
		return g.target, at
	}
	return best, at
}

// short says that under a choice of kits some bath component has too little area
// for the film that plans of the goal's worth place.
func (rx *relaxation) short(kits []choice, g *goal) bool {
	bd := rx.bd
	for _, comp := range bd.components() {
		rolls := bd.rollsOf(comp, func(int) bool { return true })
		need := bd.areaAtLeast(rolls, bd.slackOf(comp, &g.worth), g.worth[displaced] == 0)
		var have int64
		for s := range rx.sets {
			if rx.sets[s].kit && kits[s] != mixed {
				continue
			}
			if slices.ContainsFunc(rolls, func(i int) bool { return bd.of(i).inSet[s] }) {
				have = min(have+rx.sets[s].area, never)
			}
		}
		if need > have {
			return true
		}
	}
	return false
}

// usable says which sets plans of some worth may use, for each choice of kits; all
// kits together where the choices are too many.
func (rx *relaxation) usable(w *worth) [][]bool {
	var out [][]bool
	choices := rx.kitChoices()
	if choices == nil {
		choices = []kitChoice{{kits: make([]choice, len(rx.sets))}}
	}
choices:
	for _, c := range choices {
		if c.price > w[chemistry] {
			continue
		}
		for upTo := lateness; upTo <= finish; upTo++ {
			if rx.refused[refusal(c.kits, w, upTo)] {
				continue choices
			}
		}
		usable := make([]bool, len(rx.sets))
		for s := range usable {
			usable[s] = c.kits[s] != shut && (!rx.sets[s].kit || rx.sets[s].price <= w[chemistry])
		}
		if out = append(out, usable); len(out) > mostChoices {
			return nil
		}
	}
	return out
}

// refusal names a choice of kits for plans of given values at the first levels.
func refusal(kits []choice, w *worth, upTo int) string {
	return fmt.Sprint(kits, w[:upTo])
}

// alikeKits says that two sets still on the shelf differ in price alone.
func (m *model) alikeKits(a, b int) bool {
	x, y := &m.sets[a], &m.sets[b]
	if x.takes != y.takes || x.by != y.by || len(x.baths) != len(y.baths) || !slices.Equal(x.serves, y.serves) {
		return false
	}
	for i := range x.baths {
		p, q := m.baths[x.baths[i]], m.baths[y.baths[i]]
		if p != q {
			return false
		}
		for s := range m.sets { // a bath of another set too is not alike
			if s != a && slices.Contains(m.sets[s].baths, x.baths[i]) || s != b && slices.Contains(m.sets[s].baths, y.baths[i]) {
				return false
			}
		}
	}
	return true
}

// whole is a master's bound, for chemistry rounded up to what kits and waste can
// cost at all.
func (rx *relaxation) whole(ma *master) int64 {
	if ma.goal.level == none {
		if ma.bound > 0 {
			return 1
		}
		return 0
	}
	if ma.goal.level != chemistry {
		return ma.proved()
	}
	return rx.roundUp(ma.proved())
}

// roundUp is the least that level 3 can be when it is no less than a number.
func (rx *relaxation) roundUp(b int64) int64 {
	b = max(b-int64(rx.waste), 0)
	if rx.sums == nil {
		rx.sums = rx.chemistrySums()
	}
	at, found := slices.BinarySearch(rx.sums, b)
	if !found && at < len(rx.sums) {
		return rx.sums[at]
	}
	return b
}

const mostChemistry = 1 << 22 // minor units

// chemistrySums are all values that level 3 can have, up to mostChemistry; none
// where they are too many to list.
func (rx *relaxation) chemistrySums() []int64 {
	out := []int64{}
	if len(rx.m.waste) != rx.waste {
		return out
	}
	var all int64 // what all kits and all waste cost
	for s := range rx.sets {
		se := &rx.sets[s]
		if se.kit {
			all = min(all+se.price, mostChemistry)
		}
		all = min(all+min(wastedPrice(se.unused, se.waste), mostChemistry), mostChemistry)
	}
	set := make([]uint64, all/64+1)
	set[0] = 1
	for s := range rx.sets {
		se := &rx.sets[s]
		if se.kit && se.price > 0 && se.price < mostChemistry {
			orShift(set, set, se.price)
		}
		if se.waste == 0 || se.unused == 0 {
			continue
		}
		sums := rx.areaSums(s)
		if sums == nil {
			return out
		}
		next := make([]uint64, len(set))
		for _, a := range sums {
			if v := wastedPrice(max(se.unused-a, 0), se.waste); v < mostChemistry {
				orShift(next, set, v)
			}
		}
		set = next
	}
	for w, word := range set {
		for ; word != 0; word &= word - 1 {
			out = append(out, int64(w*64+bits.TrailingZeros64(word)))
		}
	}
	return out
}

// orShift adds to dst what src holds, moved up.
func orShift(dst, src []uint64, by int64) {
	words, rest := int(by/64), uint(by%64)
	for i := len(dst) - 1; i >= words; i-- {
		v := src[i-words] << rest
		if rest > 0 && i > words {
			v |= src[i-words-1] >> (64 - rest)
		}
		dst[i] |= v
	}
}

// areaSums are the areas that rolls which may use a set can add up to, as far
// as the set can take; nil where there are too many.
func (rx *relaxation) areaSums(set int) []int64 {
	sums := []int64{0}
	for t := range rx.types {
		ty := &rx.types[t]
		if !rx.couldUse(t, set) {
			continue
		}
		for range ty.n {
			for _, s := range sums {
				if s+ty.area <= rx.sets[set].area {
					sums = append(sums, s+ty.area)
				}
			}
			slices.Sort(sums)
			if sums = slices.Compact(sums); len(sums) > mostSums {
				return nil
			}
		}
	}
	return sums
}
