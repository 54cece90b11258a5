package planner

import (
	"cmp"
	"slices"
)

// addResources finds what sessions that overlap in time compete for.
func (rx *relaxation) addResources() {
	for _, c := range rx.overlapping() {
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

// window is the span of some sessions.
func (rx *relaxation) window(sessions []int) span {
	w := span{never, 0}
	for _, i := range sessions {
		se := &rx.m.sess[rx.sess[i].index]
		w.from, w.to = min(w.from, se.start), max(w.to, se.end)
	}
	return w
}

// shortest is the least time from a run's mixing to its end in some sessions,
// for the offers chosen.
func (rx *relaxation) shortest(sessions []int, some func(*offer) bool) int64 {
	least := int64(never)
	for _, i := range sessions {
		for k := range rx.sess[i].offers {
			if o := &rx.sess[i].offers[k]; some(o) {
				least = min(least, rx.m.class[rx.leads[o.lead].class].wet)
			}
		}
	}
	return least
}

// addReels counts the uses of a kind of reel while sessions last.
func (rx *relaxation) addReels(sessions []int) {
	m := rx.m
	w := rx.window(sessions)
	for k := range m.kinds {
		kind := &m.kinds[k]
		var most int64
		for t := range rx.types {
			if rx.types[t].kind == k && slices.ContainsFunc(sessions, func(i int) bool { return rx.types[t].late[rx.sess[i].index] < never }) {
				most += rx.types[t].n
			}
		}
		wet := rx.shortest(sessions, func(o *offer) bool { return slices.Contains(o.kinds, k) })
		if places := kind.takes(w.to-w.from, wet); places < most {
			rx.rows = append(rx.rows, resource{cap: places, sessions: sessions, perRoll: func(t *rollType) int64 {
				if t.kind == k {
					return 1
				}
				return 0
			}})
		}
	}
}

// addHanging counts the hanging positions taken while sessions last.
func (rx *relaxation) addHanging(sessions []int) {
	m := rx.m
	w := rx.window(sessions)
	first := w.from + rx.shortest(sessions, func(*offer) bool { return true })
	var places int64
	for c := range m.cabs {
		if m.cabs[c].dry == 0 {
			return
		}
		places += m.cabs[c].positions * (1 + max(w.to-first, 0)/m.cabs[c].dry)
	}
	var most int64
	for t := range rx.types {
		if slices.ContainsFunc(sessions, func(i int) bool { return rx.types[t].late[rx.sess[i].index] < never }) {
			most += rx.types[t].n * rx.types[t].hang
		}
	}
	if places < most {
		rx.rows = append(rx.rows, resource{cap: places, sessions: sessions, perRoll: func(t *rollType) int64 { return t.hang }})
	}
}

// addBaths says that a set that is not one-shot is in one run at a time, from
// its start to its end: warm-up or loading, and wet.
func (rx *relaxation) addBaths(sessions []int) {
	m := rx.m
	for p := range m.processes {
		offers := func(i int, ok func(*offer) bool) bool {
			return slices.ContainsFunc(rx.sess[i].offers, func(o offer) bool { return rx.leads[o.lead].process == p && ok(&o) })
		}
		var mine []int
		tanks := make(map[int]bool)
		w := span{never, 0}
		warm := false
		for _, i := range sessions {
			if !offers(i, func(*offer) bool { return true }) {
				continue
			}
			se := &m.sess[rx.sess[i].index]
			mine = append(mine, i)
			tanks[se.tank] = true
			w.from, w.to = min(w.from, se.start), max(w.to, se.end-m.tanks[se.tank].clean)
			warm = warm || m.tanks[se.tank].warm[p] > 0
		}
		sets := 0
		for _, s := range m.setsOf[p] {
			if !slices.ContainsFunc(m.sets[s].baths, func(b int) bool { return !m.baths[b].oneShot }) {
				sets = len(m.tanks)
			}
			if slices.ContainsFunc(mine, func(i int) bool { return offers(i, func(o *offer) bool { return slices.Contains(o.sets, s) }) }) {
				sets++
			}
		}
		if sets >= len(tanks) {
			continue
		}
		row := resource{cap: int64(sets) * max(w.to-w.from, 0), sessions: mine, perRun: func(o *offer) int64 {
			if rx.leads[o.lead].process == p {
				return o.warm + m.class[rx.leads[o.lead].class].wet
			}
			return 0
		}}
		if !warm {
			row.perRoll = func(t *rollType) int64 {
				if m.class[t.class].process == p {
					return m.kinds[t.kind].load / m.kinds[t.kind].holds
				}
				return 0
			}
		}
		rx.rows = append(rx.rows, row)
	}
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
		rx.rows = append(rx.rows, resource{cap: w.to - w.from, sessions: mine, perRun: func(o *offer) int64 {
			var hands int64
			for _, h := range m.class[rx.leads[o.lead].class].hands {
				hands += h.to - h.from
			}
			return hands
		}, perRoll: func(t *rollType) int64 { return m.kinds[t.kind].load / m.kinds[t.kind].holds }})
	}
}
