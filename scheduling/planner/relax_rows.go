package planner

import (
	"cmp"
	"slices"
)

// addResources finds what sessions that overlap in time compete for.
func (rx *relaxation) addResources() {
	rx.clusters = rx.overlapping()
	for _, c := range rx.clusters {
		rx.addReels(c)
		rx.addHanging(c)
		if len(c) > 1 {
			rx.addBaths(c)
			rx.addOperators(c)
		}
	}
	rx.byRow = make([][]int, len(rx.sess))
	for r := range rx.rows {
		for _, s := range rx.rows[r].sessions {
			rx.byRow[s] = append(rx.byRow[s], r)
		}
	}
}

// overlapping groups the sessions that overlap, directly or through others.
func (rx *relaxation) overlapping() [][]int {
	m := rx.m
	order := make([]int, len(rx.sess))
	for i := range order {
		order[i] = i
	}
	start := func(i int) int64 { return m.sess[rx.sess[i].index].start }
	slices.SortFunc(order, func(a, b int) int { return cmp.Or(cmp.Compare(start(a), start(b)), cmp.Compare(a, b)) })
	var out [][]int
	until := int64(-never)
	for _, i := range order {
		if len(out) > 0 && start(i) < until {
			out[len(out)-1] = append(out[len(out)-1], i)
		} else {
			out = append(out, []int{i})
		}
		until = max(until, m.sess[rx.sess[i].index].end)
	}
	return out
}

// window is the span in which runs of some sessions can be, up to their end.
func (rx *relaxation) window(sessions []int) span {
	m := rx.m
	w := span{never, 0}
	for _, i := range sessions {
		se := &m.sess[rx.sess[i].index]
		w.from, w.to = min(w.from, se.start), max(w.to, se.end-m.tanks[se.tank].clean)
	}
	return w
}

// prep is the least time it takes to prepare a run of an offer with a reel of a
// kind, or, with −1, of any.
func (rx *relaxation) prep(o *offer, kind int) int64 {
	least := int64(never)
	for d, k := range o.kinds {
		if k == kind || kind < 0 {
			least = min(least, o.loads[d])
		}
	}
	return max(o.warm, least)
}

// shortest is the least time of a run in some sessions, from its start to its
// end, with a reel of a kind or, with −1, any.
func (rx *relaxation) shortest(sessions []int, kind int) int64 {
	least := int64(never)
	for _, i := range sessions {
		for k := range rx.sess[i].offers {
			if o := &rx.sess[i].offers[k]; kind < 0 || slices.Contains(o.kinds, kind) {
				least = min(least, rx.prep(o, kind)+rx.m.class[rx.leads[o.lead].class].wet)
			}
		}
	}
	return least
}

// addReels counts the uses of a kind of reel while sessions last, and how long
// they are: from the run's start until the reel is dry.
func (rx *relaxation) addReels(sessions []int) {
	m := rx.m
	w := rx.window(sessions)
	for k := range m.kinds {
		kind := &m.kinds[k]
		var most int64
		for t := range rx.types {
			if rx.types[t].kind == k && rx.meets(t, sessions) {
				most += rx.types[t].n
			}
		}
		run := rx.shortest(sessions, k)
		rx.addRow(resource{sessions: sessions, kit: -1, most: most, perReel: func(_ *offer, k2 int) int64 {
			if k2 == k {
				return 1
			}
			return 0
		}, within: func(_, last int64) int64 {
			return kind.takes(min(w.to, last)-w.from, run) / kind.holds
		}})
		if most == 0 {
			continue
		}
		use := func(o *offer, k2 int) int64 {
			if k2 != k {
				return 0
			}
			return rx.prep(o, k) + m.class[rx.leads[o.lead].class].wet + kind.dry
		}
		var longest int64
		for _, i := range sessions {
			for n := range rx.sess[i].offers {
				if o := &rx.sess[i].offers[n]; slices.Contains(o.kinds, k) {
					longest = max(longest, use(o, k))
				}
			}
		}
		rx.addRow(resource{sessions: sessions, kit: -1, most: most * longest, perReel: use, within: func(_, last int64) int64 {
			at := span{w.from, max(min(w.to, last), w.from) + kind.dry}
			return free(m.base.reels[k], kind.count, at)
		}})
	}
}

// free is how much is free of so many things over a span in all: their number by
// time, less what frozen batches use.
func free(uses []use, count int64, at span) int64 {
	times := []int64{at.from, at.to}
	for i := range uses {
		for _, t := range []int64{uses[i].from, uses[i].to} {
			if at.from < t && t < at.to {
				times = append(times, t)
			}
		}
	}
	slices.Sort(times)
	var sum int64
	for i := range times[1:] {
		here := span{times[i], times[i+1]}
		sum += max(count-peak(uses, here), 0) * (here.to - here.from)
	}
	return sum
}

// freeOf is the same of one thing that is in one's hands at a time.
func freeOf(by []busy, at span) int64 {
	uses := make([]use, len(by))
	for i := range by {
		uses[i] = use{span: by[i].span, n: 1}
	}
	return free(uses, 1, at)
}

// addRow adds a row, with what there is of the resource if the finish is open.
func (rx *relaxation) addRow(r resource) {
	if r.most > 0 {
		r.cap = r.within(never, never)
		rx.rows = append(rx.rows, r)
	}
}

// meets says that rolls of a type may be in one of some sessions.
func (rx *relaxation) meets(t int, sessions []int) bool {
	return slices.ContainsFunc(sessions, func(i int) bool { return rx.types[t].late[rx.sess[i].index] < never })
}

// hangers are films that hang in some cabinets alone.
type hangers struct {
	cabs    []bool
	perRoll []int64 // positions at least, by type
	most    int64   // of all together
}

// hangers are the films of some sessions: all of them, and those of each choice of
// cabinets that some type has.
func (rx *relaxation) hangers(sessions []int) []hangers {
	var out []hangers
	for t := -1; t < len(rx.types); t++ {
		h := hangers{cabs: make([]bool, len(rx.m.cabs)), perRoll: make([]int64, len(rx.types))}
		for c := range h.cabs {
			h.cabs[c] = t < 0 || rx.types[t].takes[c] > 0
		}
		if slices.ContainsFunc(out, func(o hangers) bool { return slices.Equal(o.cabs, h.cabs) }) {
			continue
		}
		for o := range rx.types {
			ty := &rx.types[o]
			elsewhere := false
			for c, n := range ty.takes {
				elsewhere = elsewhere || n > 0 && !h.cabs[c]
			}
			if !elsewhere && ty.hang < never {
				h.perRoll[o] = ty.hang
			}
			if rx.meets(o, sessions) {
				h.most = min(h.most+ty.n*h.perRoll[o], never)
			}
		}
		out = append(out, h)
	}
	return out
}

// addHanging counts the hanging positions taken while sessions last: in all
// cabinets, and in those that alone take some rolls.
func (rx *relaxation) addHanging(sessions []int) {
	m := rx.m
	w := rx.window(sessions)
	first := w.from + rx.shortest(sessions, -1)
	for _, h := range rx.hangers(sessions) {
		places := func(finish, _ int64) int64 {
			var sum int64
			for c := range m.cabs {
				cab := &m.cabs[c]
				if last := min(w.to, finish-cab.dry); h.cabs[c] && last >= first {
					if cab.dry == 0 {
						return never
					}
					sum += cab.positions * (1 + (last-first)/cab.dry)
				}
			}
			return sum
		}
		rx.addRow(resource{sessions: sessions, kit: -1, perRoll: h.perRoll, most: h.most, within: places})
	}
}

// addBaths says of each bath that is not one-shot that it is in one run at a
// time, from the run's start to its end: warm-up or loading, and wet. A bath that
// dies while the sessions last is in none that ends later than it could.
func (rx *relaxation) addBaths(sessions []int) {
	m := rx.m
	for _, bath := range rx.busyBaths() {
		sets := bath.sets
		var mine []int
		w, room := span{never, 0}, int64(0)
		for _, i := range sessions {
			se := &m.sess[rx.sess[i].index]
			last := int64(-1)
			for k := range rx.sess[i].offers {
				for _, s := range sets {
					if o := &rx.sess[i].offers[k]; slices.Contains(o.sets, s) {
						last = max(last, min(rx.lastEnd(s, rx.leads[o.lead].class), se.end-m.tanks[se.tank].clean))
					}
				}
			}
			if last >= 0 {
				mine = append(mine, i)
				w.from, w.to = min(w.from, se.start), max(w.to, last)
				room += max(last-se.start, 0)
			}
		}
		if len(mine) == 0 {
			continue
		}
		r := resource{sessions: mine, kit: bath.kit, sets: sets, perPrep: 1, perRun: func(o *offer) int64 { return m.class[rx.leads[o.lead].class].wet }}
		r.most, r.within = room, func(_, last int64) int64 {
			at := span{w.from, max(min(w.to, last), w.from)}
			return freeOf(m.base.inBath[bath.index], at)
		}
		rx.addRow(r)
	}
}

// A busyBath is a bath that is in one run at a time, with the sets that have it.
type busyBath struct {
	index int
	sets  []int
	kit   int // that must be mixed for it; −1: none
}

// busyBaths are those that are not one-shot, one of those that the same sets have.
func (rx *relaxation) busyBaths() []busyBath {
	m := rx.m
	var out []busyBath
	for b := range m.baths {
		bath := busyBath{index: b, kit: -1}
		for s := range m.sets {
			if slices.Contains(m.sets[s].baths, b) {
				bath.sets = append(bath.sets, s)
			}
		}
		if m.baths[b].oneShot || len(bath.sets) == 0 || slices.ContainsFunc(out, func(o busyBath) bool { return slices.Equal(o.sets, bath.sets) }) {
			continue
		}
		if len(bath.sets) == 1 && rx.sets[bath.sets[0]].kit {
			bath.kit = bath.sets[0]
		}
		out = append(out, bath)
	}
	return out
}

// lastEnd is the last end of a run of a class by a set that is mixed already,
// for its baths to live until their steps; never for a kit.
func (rx *relaxation) lastEnd(set, class int) int64 {
	m := rx.m
	if rx.sets[set].kit {
		return never
	}
	last := int64(never)
	for _, st := range m.class[class].steps {
		for _, b := range m.sets[set].baths {
			ba := &m.baths[b]
			if ba.role != st.role {
				continue
			}
			dies := ba.expires
			if m.sets[set].mix {
				dies = min(dies, m.base.mixedAt[set]+ba.life)
			}
			if dies < never {
				last = min(last, dies-st.begins+m.class[class].wet)
			}
		}
	}
	return last
}

// addOperators says that an operator's loading and work by hand do not overlap.
func (rx *relaxation) addOperators(sessions []int) {
	m := rx.m
	byOp := make(map[int][]int)
	for _, i := range sessions {
		op := m.sess[rx.sess[i].index].op
		byOp[op] = append(byOp[op], i)
	}
	for op := range m.operators {
		mine := byOp[op]
		if len(mine) < 2 {
			continue
		}
		w := rx.window(mine)
		loading := func(_ *offer, kind int) int64 { return m.kinds[kind].load }
		rx.addRow(resource{sessions: mine, kit: -1, perReel: loading, most: never, within: func(_, last int64) int64 {
			at := span{w.from, max(min(w.to, last), w.from)}
			return freeOf(m.base.hands[op], at)
		}, perRun: func(o *offer) int64 {
			var hands int64
			for _, h := range m.class[rx.leads[o.lead].class].hands {
				hands += h.to - h.from
			}
			return hands
		}})
	}
}
