package planner

import (
	"cmp"
	"slices"
)

// solve is the least finish there is, or one that is enough, the most given if none is
// sooner; 0 if that is too much work.
func (e *ending) solve() int64 {
	e.place(0, 0, 0)
	if e.nodes < 0 {
		return 0
	}
	return e.best
}

// An endTurn is a run that may be next.
type endTurn struct {
	load, set   int
	start, last int64
}

// place places one run more, none starting before an instant, and goes on.
func (e *ending) place(depth int, from, finish int64) {
	st := &e.stack[depth]
	if st.key == 0 {
		e.best = finish
		clear(e.seen)
		return
	}
	if e.runs > 0 && depth+e.fewest(st) > e.runs || e.hopeless(st, from) || e.met(st, depth, from) {
		return
	}
	var room [64]endTurn
	turns := e.turns(st, from, room[:0])
	slices.SortFunc(turns, func(a, b endTurn) int {
		return cmp.Or(cmp.Compare(a.last-a.start, b.last-b.start), cmp.Compare(a.start, b.start), cmp.Compare(e.loads[b.load].cell, e.loads[a.load].cell))
	})
	for _, t := range turns {
		dry := t.start + e.loads[t.load].time + e.loads[t.load].dry
		if max(dry, finish) >= e.best {
			continue
		}
		if e.best <= e.enough {
			return
		}
		e.bd.work(8)
		if e.nodes--; e.nodes < 0 {
			return
		}
		e.run(st, &e.stack[depth+1], &t)
		e.place(depth+1, t.start, max(finish, dry))
	}
}

// turns are the runs that may be next.
func (e *ending) turns(st *endState, from int64, out []endTurn) []endTurn {
	m := e.m
	first := int64(never) // when a run is over that would not be in the way of any
	var left [mostEndSorts]int
	for k, s := range e.sess {
		over, any := int64(0), false
		tank := &m.tanks[m.sess[s].tank]
		for _, g := range e.of[k] {
			gr := &e.groups[g]
			if st.left[g] == 0 {
				continue
			}
			gr.numbers(st.left[g], left[:len(gr.sorts)])
			start := max(from, st.tank[k])
			if st.last[k] >= 0 && st.last[k] != gr.process {
				start = max(start, st.tank[k]+tank.flush)
			}
			for _, l := range gr.loads {
				lo := &e.loads[l]
				if !lo.within(left[:]) || slices.ContainsFunc(lo.more, func(i int) bool { return left[i] > lo.n[i] }) {
					continue
				}
				for _, by := range lo.sets {
					t, done, ok := e.start(st, lo, by.set, start)
					if !ok || t > by.last || t+lo.time+lo.dry >= e.best || t+lo.time > e.late && lo.places > st.places {
						continue
					}
					out = append(out, endTurn{l, by.set, t, min(by.last, e.best-lo.time-lo.dry)})
					over, any = max(over, done), true
				}
			}
		}
		if any {
			first = min(first, over)
		}
	}
	return slices.DeleteFunc(out, func(t endTurn) bool { return t.start >= first })
}

// start is when a load can start by a set, and until when it is in the way of others.
func (e *ending) start(st *endState, lo *endLoad, set int, from int64) (start, done int64, ok bool) {
	es := &e.sets[set]
	for _, o := range es.twins { // of these the one that is free first, or the first of those
		if mine, other := max(st.freeAt(es), from), max(st.freeAt(&e.sets[o]), from); other < mine || other == mine && o < set {
			return 0, 0, false
		}
	}
	start = max(from, lo.in)
	if op := e.opOf[e.groups[lo.group].k]; op >= 0 {
		start = max(start, st.op[op])
	}
	for _, b := range es.baths {
		start = max(start, st.bath[b])
	}
	for _, a := range es.areas {
		if lo.area > st.area[a] {
			return 0, 0, false
		}
	}
	for i, n := range lo.reels {
		if n > 0 {
			start = max(start, st.reels[e.reelAt[i]+int(n)-1])
		}
	}
	done = start + lo.time
	for i, n := range lo.reels {
		if n > 0 {
			done = max(done, start+lo.time+e.m.kinds[e.binding[i]].dry)
		}
	}
	return start, done, true
}

// freeAt is when a set is free that has one busy bath at most.
func (st *endState) freeAt(es *endSet) int64 {
	if len(es.baths) == 0 {
		return 0
	}
	return st.bath[es.baths[0]]
}

// run makes the state after a run.
func (e *ending) run(st, to *endState, t *endTurn) {
	lo := &e.loads[t.load]
	g := lo.group
	k := e.groups[g].k
	copy(to.left, st.left)
	copy(to.tank, st.tank)
	copy(to.last, st.last)
	copy(to.op, st.op)
	copy(to.bath, st.bath)
	copy(to.reels, st.reels)
	copy(to.area, st.area)
	to.left[g] -= lo.cell
	to.key = st.key - uint64(lo.cell)*e.groups[g].stride
	end := t.start + lo.time
	to.tank[k], to.last[k] = end+e.m.tanks[e.m.sess[e.sess[k]].tank].clean, e.groups[g].process
	if op := e.opOf[k]; op >= 0 {
		to.op[op] = t.start + lo.load
	}
	for _, b := range e.sets[t.set].baths {
		to.bath[b] = end
	}
	for _, a := range e.sets[t.set].areas {
		to.area[a] -= lo.area
	}
	if to.places = st.places; e.places < never && end > e.late {
		to.places -= lo.places
	}
	for i, n := range lo.reels {
		if n > 0 {
			of := to.reels[e.reelAt[i]:e.reelAt[i+1]]
			for j := range n {
				of[j] = end + e.m.kinds[e.binding[i]].dry
			}
			slices.Sort(of)
		}
	}
}

// hopeless says that some tank, or the baths of some process, have too little time
// for what is left.
func (e *ending) hopeless(st *endState, from int64) bool {
	m := e.m
	var need [8]endNeed
	needs := need[:0]
	for k, s := range e.sess {
		tank := &m.tanks[m.sess[s].tank]
		at, last := max(st.tank[k], from), min(m.sess[s].end-tank.clean, e.best-1-e.dry[k])
		time, others, same := int64(0), int64(0), st.last[k] < 0
		for n, g := range e.of[k] {
			gr := &e.groups[g]
			if st.left[g] == 0 {
				continue
			}
			time += gr.inTank[st.left[g]]
			if gr.process == st.last[k] {
				same = true
			} else if !slices.ContainsFunc(e.of[k][:n], func(o int) bool { return st.left[o] > 0 && e.groups[o].process == gr.process }) {
				others++
			}
			i := slices.IndexFunc(needs, func(n endNeed) bool { return n.process == gr.process })
			if i < 0 {
				i = len(needs)
				needs = append(needs, endNeed{process: gr.process, from: at})
			}
			needs[i].time += gr.inBath[st.left[g]]
			needs[i].from, needs[i].last = min(needs[i].from, at), max(needs[i].last, last)
		}
		if time == 0 {
			continue
		}
		if !same { // the flush after the last run may be over
			at = max(at, st.tank[k]+tank.flush)
		}
		if st.last[k] < 0 || !same {
			others--
		}
		if at+time-tank.clean+others*tank.flush > last {
			return true
		}
	}
	for _, n := range needs {
		if n.time > e.inBaths(st, &n) {
			return true
		}
	}
	return false
}

// fewest is how many runs what is left takes at least.
func (e *ending) fewest(st *endState) (n int) {
	for g := range e.groups {
		n += e.groups[g].fewest[st.left[g]]
	}
	return n
}

// An endNeed is how long what is left of a process is in its baths at least, and
// between when.
type endNeed struct {
	process          int
	time, from, last int64
}

// inBaths is for how long the baths of a process are free in all.
func (e *ending) inBaths(st *endState, n *endNeed) (sum int64) {
	for i := range e.sets {
		es := &e.sets[i]
		if !e.m.sets[es.index].serves[n.process] {
			continue
		}
		if len(es.baths) == 0 {
			return never
		}
		at := n.from
		for _, b := range es.baths {
			at = max(at, st.bath[b])
		}
		sum += max(n.last-at, 0)
	}
	return sum
}

// met says that the same was left before, after as few runs and with nothing free any
// later; if not, it will have been.
func (e *ending) met(st *endState, depth int, from int64) bool {
	at := e.entry[:0]
	for k, s := range e.sess {
		left := slices.ContainsFunc(e.of[k], func(g int) bool { return st.left[g] > 0 })
		if !left {
			at = append(at, -1, 0, 0)
			continue
		}
		other := st.tank[k]
		if st.last[k] >= 0 {
			other += e.m.tanks[e.m.sess[s].tank].flush
		}
		at = append(at, int64(st.last[k]), max(st.tank[k], from), max(other, from))
	}
	for _, list := range [][]int64{st.op, st.bath, st.reels} {
		for _, t := range list {
			at = append(at, max(t, from))
		}
	}
	for _, a := range st.area {
		at = append(at, -a)
	}
	if at = append(at, -st.places, 0); e.runs > 0 {
		at[len(at)-1] = int64(depth)
	}
	entries := e.seen[st.key]
	for i := 0; i+e.size <= len(entries); i += e.size {
		if e.noLater(entries[i:i+e.size], at) {
			return true
		}
	}
	e.seen[st.key] = append(entries, at...)
	return false
}

// noLater says that one entry is nowhere later than another.
func (e *ending) noLater(a, b []int64) bool {
	n := 3 * len(e.sess)
	for k := 0; k < n; k += 3 {
		if a[k] == b[k] || a[k] < 0 {
			if a[k+1] > b[k+1] || a[k+2] > b[k+2] {
				return false
			}
		} else if max(a[k+1], a[k+2]) > min(b[k+1], b[k+2]) {
			return false
		}
	}
	for i := n; i < len(a); i++ {
		if a[i] > b[i] {
			return false
		}
	}
	return true
}
