package planner

import (
	"cmp"
	"math/bits"
	"slices"
)

// Bounds that hold for every plan with the values given at the levels above.
// Each is a relaxation that can be read off the problem: rolls alone in the
// lab, and counts of what sessions, reels and baths can take at most.
type bounds struct {
	m     *model
	alone []alone
	// base is the least level 2 of all rolls alone.
	base  int64
	first [2]int64 // displaced and lateness, which depend on nothing above
	group []int    // bath component by process: sets that serve several join them
	// forced is what the rolls of each component, by its group, add to base at
	// least because its baths, or the places they compete for, cannot take all.
	forced map[int]int64
	given  *[6]int64        // all of them, when they are known beforehand
	packed map[string]int64 // runs by exact packing, by the rolls
	floor  *[6]int64        // the least they are where no roll is left out, if known

	quick   bool // bounds that take long are not worth it
	expired func() bool
	looked  int
}

// outOfTime ends the working out of a bound, wherever in it: half a bound is none.
type outOfTime struct{}

// boundOften is after how much of the work the clock is asked.
const boundOften = 4096

// work counts what is done for a bound, and ends it when time is over.
func (bd *bounds) work(n int) {
	if bd.looked += n; bd.looked >= boundOften {
		bd.looked = 0
		if bd.expired != nil && bd.expired() {
			panic(outOfTime{})
		}
	}
}

// inTime does some work and says whether it ended before time was over.
func inTime(do func()) (ok bool) {
	defer func() {
		if r := recover(); r != nil {
			if _, over := r.(outOfTime); !over {
				panic(r)
			}
			ok = false
		}
	}()
	do()
	return true
}

// newBounds works out what does not depend on a plan. When expired says that
// time is over it gives up, and then bounds nothing.
func newBounds(m *model, expired func() bool) *bounds {
	bd := &bounds{m: m, expired: expired}
	if !inTime(bd.prepare) {
		return &bounds{m: m, given: new([6]int64)}
	}
	return bd
}

func (bd *bounds) prepare() {
	m := bd.m
	bd.alone = bd.measureAlone()
	for i := range m.rolls {
		r := &m.rolls[i]
		bd.base += bd.of(i).cost
		if bd.of(i).possible {
			r.soonLate = r.late(bd.of(i).dry)
		}
		r.waste = 0
		for _, s := range m.waste {
			// Areas in mm², prices per m²; rounding may add one unit a set.
			hi, lo := bits.Mul64(uint64(r.area), uint64(m.sets[s].waste))
			q, _ := bits.Div64(hi, lo, 1_000_000)
			r.waste -= int64(q) + 1
		}
	}
	bd.joinProcesses()
	bd.forced = make(map[int]int64)
	for _, g := range bd.components() {
		bd.forced[g] = bd.forcedOn(g)
	}
	bd.first[displaced] = bd.displacedBound()
	possible, impossible := bd.split()
	bd.first[lateness] = max(bd.base+bd.crowded(possible), impossible+bd.assigned(possible))
}

// forcedOn is what the rolls of one component add to base at least: they alone
// compete for their baths, and those on one kind of reel for its places. The
// film of other components only makes it more.
func (bd *bounds) forcedOn(g int) int64 {
	rolls := bd.rollsOf(g, func(int) bool { return true })
	var base, byKind int64
	for _, i := range rolls {
		base += bd.of(i).cost
	}
	for k := range bd.m.kinds {
		byKind += bd.assigned(bd.rollsOf(g, func(i int) bool { return bd.m.rolls[i].kind == k }))
	}
	places := max(byKind, bd.assigned(rolls)) - base
	return max(bd.cheapest(rolls, bd.overBaths(g, rolls)), places)
}

// split gives the rolls that can be placed alone, and what the others cost at
// level 2.
func (bd *bounds) split() (possible []int, impossible int64) {
	for i := range bd.m.rolls {
		if bd.of(i).possible {
			possible = append(possible, i)
		} else {
			impossible += bd.m.rolls[i].out
		}
	}
	return possible, impossible
}

// of is a roll alone, for working out a bound.
func (bd *bounds) of(roll int) *alone {
	bd.work(1)
	return bd.look(roll)
}

// look is the same where no bound is being worked out that could be ended.
func (bd *bounds) look(roll int) *alone { return &bd.alone[bd.m.rolls[roll].typ] }

// all gives the bounds of the six levels of a plan of worth w; where time is
// over before they are worked out, those that depend on no plan.
func (bd *bounds) all(w *worth) (out [6]int64) {
	if bd.given != nil {
		return *bd.given
	}
	if !inTime(func() { out = bd.counts(w) }) {
		out = [6]int64{bd.first[displaced], bd.first[lateness]}
	}
	return out
}

func (bd *bounds) counts(w *worth) [6]int64 {
	must := bd.mustPlace(w)
	out := [6]int64{
		bd.first[displaced], bd.first[lateness], bd.chemistryBound(w), bd.runsBound(w),
		bd.finishBound(must), bd.changesBound(must),
	}
	for i := range out {
		if bd.floor != nil && w[lateness] == 0 {
			out[i] = max(out[i], bd.floor[i])
		}
	}
	return out
}

// mustPlace finds the rolls that no plan as good as w at levels 1 and 2 leaves
// out: booked ones when none is displaced, and those whose leaving out alone
// would cost more than the plan's slack.
func (bd *bounds) mustPlace(w *worth) []bool {
	must := make([]bool, len(bd.m.rolls))
	for i := range must {
		a := bd.of(i)
		g := bd.group[bd.m.class[bd.m.rolls[i].class].process]
		must[i] = a.possible && (bd.stays(i, w) || a.extra > bd.slackOf(g, w))
	}
	return must
}

// slackOf is what a plan of worth w can spend at level 2, beyond what every
// plan must, on rolls of one bath component.
func (bd *bounds) slackOf(g int, w *worth) int64 {
	slack := w[lateness] - bd.base
	for other, cost := range bd.forced {
		if other != g {
			slack -= cost
		}
	}
	return slack
}

// stays says that a held roll is in every plan with no more displaced than w.
func (bd *bounds) stays(roll int, w *worth) bool {
	return bd.m.rolls[roll].held != noHold && w[displaced] == 0
}

// displacedBound counts held rolls that cannot be placed even alone, and those
// beyond what their session can take at most.
func (bd *bounds) displacedBound() int64 {
	m := bd.m
	var impossible, crowded int64
	for s := range m.sess {
		var held []int
		for i := range m.rolls {
			if m.rolls[i].held != s {
				continue
			}
			if bd.of(i).possible {
				held = append(held, i)
			} else {
				impossible++
			}
		}
		crowded += bd.overSession(s, held)
	}
	var thirsty int64
	for _, g := range bd.components() {
		rolls := bd.rollsOf(g, func(i int) bool { return m.rolls[i].held != noHold })
		thirsty += bd.overBaths(g, rolls)
	}
	return impossible + max(crowded, thirsty, bd.overClusters())
}

// overClusters is how many held rolls at least find no reel or hanging
// position while the sessions that overlap theirs last.
func (bd *bounds) overClusters() int64 {
	m := bd.m
	inSess := make([]int64, len(m.sess))
	var held []int
	for i := range m.rolls {
		if s := m.rolls[i].held; s != noHold && bd.of(i).possible {
			held = append(held, i)
			inSess[s]++
		}
	}
	var over int64
	for _, c := range bd.clusters(held) {
		var n int64
		for _, s := range c.sessions {
			n += inSess[s]
		}
		over += max(n-c.places, 0)
	}
	return over
}

// overSession is how many of the rolls at least do not fit one session.
func (bd *bounds) overSession(s int, rolls []int) int64 {
	m := bd.m
	n := int64(len(rolls))
	if n == 0 {
		return 0
	}
	over := max(n-bd.sessionTakes(s, rolls), 0)
	byKind := make([]int64, len(m.kinds))
	for _, i := range rolls {
		byKind[m.rolls[i].kind]++
	}
	length, wet := m.sess[s].end-m.sess[s].start, bd.shortestWet()
	var reels int64
	for k, need := range byKind {
		if need > 0 {
			reels += max(need-m.kinds[k].takes(length, wet), 0)
		}
	}
	return max(over, reels)
}

// takes is how many rolls a kind of reel can carry in a span at most, each use
// taking at least the time given.
func (k *kindM) takes(length, use int64) int64 {
	if length < use {
		return 0
	}
	return k.count * k.holds * (1 + (length-use)/max(use+k.dry, 1))
}

func (bd *bounds) shortestWet() int64 {
	wet := int64(never)
	for i := range bd.m.class {
		wet = min(wet, bd.m.class[i].wet)
	}
	return wet
}

// sessionTakes is how many of the rolls a session can take at most: runs that
// fit its time by rolls that fit its tank.
func (bd *bounds) sessionTakes(s int, rolls []int) int64 {
	m := bd.m
	se := &m.sess[s]
	tank := &m.tanks[se.tank]
	load := int64(never)
	for _, i := range rolls {
		load = min(load, m.kinds[m.rolls[i].kind].load)
	}
	shortest := int64(never)
	for c := range m.class {
		cl := &m.class[c]
		if se.process[cl.process] {
			shortest = min(shortest, max(tank.warm[cl.process], load)+cl.wet+tank.clean)
		}
	}
	return max(se.end-se.start, 0) / shortest * bd.stack(tank, rolls)
}

// stack is how many of the rolls fit a tank's height at most.
func (bd *bounds) stack(tank *tankM, rolls []int) int64 {
	least := int64(never) // height of one reel over what it holds, as the best ratio
	holds := int64(1)
	for _, i := range rolls {
		k := &bd.m.kinds[bd.m.rolls[i].kind]
		if k.height*holds < least*k.holds || least == never {
			least, holds = k.height, k.holds
		}
	}
	return tank.height * holds / least
}

// crowded is what must be added to the base of level 2 because not all rolls
// that could be placed alone can be placed together.
func (bd *bounds) crowded(possible []int) int64 {
	m := bd.m
	var places int64
	for s := range m.sess {
		var here []int
		for _, i := range possible {
			if m.rolls[i].open[s] {
				here = append(here, i)
			}
		}
		if len(here) > 0 {
			places += min(bd.sessionTakes(s, here), int64(len(here)))
		}
	}
	sessions := bd.cheapest(possible, int64(len(possible))-places)
	var reels, baths int64
	for k := range m.kinds {
		var of []int
		for _, i := range possible {
			if m.rolls[i].kind == k {
				of = append(of, i)
			}
		}
		reels += bd.cheapest(of, int64(len(of))-m.kinds[k].takes(m.end, bd.shortestWet()))
	}
	for _, cost := range bd.forced {
		baths += cost
	}
	return max(sessions, reels, baths)
}

// cheapest is the least that leaving out n of the rolls adds.
func (bd *bounds) cheapest(rolls []int, n int64) int64 {
	if n <= 0 {
		return 0
	}
	extra := make([]int64, len(rolls))
	for k, i := range rolls {
		extra[k] = bd.of(i).extra
	}
	slices.Sort(extra)
	var sum int64
	for _, e := range extra[:n] {
		sum += e
	}
	return sum
}

// finishBound is when the slowest of the rolls to be placed is dry alone.
func (bd *bounds) finishBound(must []bool) int64 {
	var last int64
	for i, placed := range must {
		if placed {
			last = max(last, bd.of(i).dry)
		}
	}
	return last
}

// changesBound counts rolls that cannot be where they were.
func (bd *bounds) changesBound(must []bool) int64 {
	var n int64
	for i := range bd.m.rolls {
		r := &bd.m.rolls[i]
		if !r.tracked {
			continue
		}
		if r.prev == unknown || r.prev == noPlace && must[i] || r.prev >= 0 && bd.of(i).at[r.prev] == never {
			n++
		}
	}
	return n
}

// rollsOf are the rolls of a bath component that can be placed alone.
func (bd *bounds) rollsOf(g int, also func(int) bool) []int {
	var out []int
	for i := range bd.m.rolls {
		if bd.of(i).possible && bd.group[bd.m.class[bd.m.rolls[i].class].process] == g && also(i) {
			out = append(out, i)
		}
	}
	return out
}

// overBaths is how many of the rolls at least find no capacity, were all kits
// mixed.
func (bd *bounds) overBaths(g int, rolls []int) int64 {
	mixed, kits := bd.capacity(g, rolls)
	total := mixed
	for _, k := range kits {
		total = min(total+k.area, never)
	}
	areas := make([]int64, len(rolls))
	for k, i := range rolls {
		areas[k] = bd.m.rolls[i].area
	}
	slices.SortFunc(areas, cmp.Compare[int64])
	for k, a := range areas {
		if total -= a; total < 0 {
			return int64(len(areas) - k)
		}
	}
	return 0
}
