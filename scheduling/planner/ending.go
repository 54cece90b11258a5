package planner

import (
	"cmp"
	"fmt"
	"slices"
)

// An ending is when rolls that are in some sessions can all be dry at the soonest.
// That is a small scheduling problem by itself, solved exactly: runs are placed in
// the order in which they start, each at its earliest, which loses no best schedule
// as long as what runs take they take from their start on. Work by hand in a run and
// hanging positions, which they do not, are left out, as are frozen batches, one-shot
// baths running dry and numbers of runs; kits count as mixed in time. So it is a
// bound, and what it says cannot be had cannot.
//
// Three things keep it small. A run that could take a roll more in no more time does.
// A run that could be over before the next one starts is not put off (active
// schedules: Giffler and Thompson 1960). And where the same rolls are left as once
// before, with nothing free any sooner, nothing is tried again.
type ending struct {
	bd     *bounds
	m      *model
	sess   []int
	groups []endGroup // by session, those of one session together
	of     [][]int    // groups by session
	loads  []endLoad
	sets   []endSet

	dry     []int64 // by session: the shortest drying time
	binding []int   // kinds of reel of which there may be too few
	reelAt  []int   // by these: where their release times are, and at the end how many there are
	ops     int     // operators of several sessions
	opOf    []int   // by session, −1: of no other
	baths   int     // that are in one run at a time
	areas   []int   // baths that may have too little left

	stack []endState
	seen  map[uint64][]int64
	size  int // of an entry there
	entry []int64

	best  int64
	nodes int
}

// endNodes bounds the runs that are tried for one ending.
const (
	endNodes      = 20_000
	endNodesQuick = 1_000
	mostEndLoads  = 4_000
	mostEndCells  = 1 << 14
	mostEndSorts  = 32
)

// An endGroup is the rolls of one session that may share runs, directly or through
// others.
type endGroup struct {
	k, process int
	sorts      []endSort
	cells      int
	stride     uint64 // of its cells in the key of what is left
	loads      []int
	inTank     []int64 // by cell: what runs take with their clean-ups at least
	inBath     []int64 // the same without
}

// An endSort is rolls of a session that are alike here.
type endSort struct {
	roll int // one of them
	n    int
	cell int // of one roll
}

// An endLoad is what one run may hold.
type endLoad struct {
	group, cell int
	n           []int // by sort
	load, time  int64 // of loading, and from start to end
	area        int64
	in, dry     int64
	reels       []int64 // by binding kind
	sets        []endBy
	more        []int // sorts of which one more roll takes no more time
}

// An endBy is a set that a run may use, and its last start by it.
type endBy struct {
	set  int
	last int64
}

type endSet struct {
	index int
	baths []int // numbered as there are busy ones
	areas []int // in areas, those of its baths
	twins []int // sets like it
}

// An endState is what is free when.
type endState struct {
	left  []int // cells by group
	key   uint64
	tank  []int64 // by session
	last  []int   // process of its last run, −1 for none
	op    []int64
	bath  []int64
	reels []int64
	area  []int64 // left
}

// endingOf makes the ending of some rolls by session; nil where it is too large.
func (bd *bounds) endingOf(sess []int, rolls [][]int, usable []bool, most int64, nodes int) *ending {
	e := &ending{bd: bd, m: bd.m, sess: sess, best: most, nodes: nodes, seen: make(map[uint64][]int64)}
	for k := range sess {
		e.of = append(e.of, nil)
		e.sortOut(k, rolls[k])
	}
	stride := uint64(1)
	for g := range e.groups {
		gr := &e.groups[g]
		if gr.stride = stride; gr.cells > mostEndCells || len(gr.sorts) > mostEndSorts || stride > 1<<62/uint64(gr.cells) {
			return nil
		}
		stride *= uint64(gr.cells)
	}
	e.bind()
	e.listSets(usable)
	for g := range e.groups {
		if !e.listLoads(g) {
			return nil
		}
	}
	e.compareSets()
	for g := range e.groups {
		e.measure(&e.groups[g])
	}
	e.begin()
	return e
}

// sortOut parts the rolls of a session into groups and sorts.
func (e *ending) sortOut(k int, rolls []int) {
	m := e.m
	type likeness struct {
		class, kind       int
		area, fastest, in int64
	}
	start := m.sess[e.sess[k]].start
	first := len(e.groups)
	for _, r := range rolls {
		at := -1
		for g := first; g < len(e.groups); g++ {
			if !slices.ContainsFunc(e.groups[g].sorts, func(s endSort) bool { return m.share(m.rolls[s.roll].class, m.rolls[r].class) }) {
				continue
			}
			if at < 0 {
				at = g
				continue
			}
			e.groups[at].sorts = append(e.groups[at].sorts, e.groups[g].sorts...) // the roll joins them
			e.groups = slices.Delete(e.groups, g, g+1)
			g--
		}
		if at < 0 {
			at = len(e.groups)
			e.groups = append(e.groups, endGroup{k: k, process: m.class[m.rolls[r].class].process})
		}
		of := func(r int) likeness {
			ro := &m.rolls[r]
			return likeness{ro.class, ro.kind, ro.area, ro.fastest, max(ro.in, start)}
		}
		gr := &e.groups[at]
		if s := slices.IndexFunc(gr.sorts, func(s endSort) bool { return of(s.roll) == of(r) }); s >= 0 {
			gr.sorts[s].n++
		} else {
			gr.sorts = append(gr.sorts, endSort{roll: r, n: 1})
		}
	}
	e.dry = append(e.dry, never)
	for _, r := range rolls {
		e.dry[k] = min(e.dry[k], m.rolls[r].fastest)
	}
	for g := first; g < len(e.groups); g++ {
		gr := &e.groups[g]
		gr.cells = 1
		for s := range gr.sorts {
			gr.sorts[s].cell = gr.cells
			gr.cells = min(gr.cells*(gr.sorts[s].n+1), mostEndCells+1)
		}
		e.of[k] = append(e.of[k], g)
	}
}

// bind finds the kinds of reel of which there may be too few, and the operators of
// several sessions.
func (e *ending) bind() {
	m := e.m
	for kind := range m.kinds {
		var want int64
		for g := range e.groups {
			for _, s := range e.groups[g].sorts {
				if m.rolls[s.roll].kind == kind {
					want += int64(s.n) // were each by itself
				}
			}
		}
		if want > m.kinds[kind].count {
			e.reelAt = append(e.reelAt, sumOf(e.binding, func(k int) int { return int(m.kinds[k].count) }))
			e.binding = append(e.binding, kind)
		}
	}
	e.reelAt = append(e.reelAt, sumOf(e.binding, func(k int) int { return int(m.kinds[k].count) }))
	e.opOf = make([]int, len(e.sess))
	for k, s := range e.sess {
		e.opOf[k] = -1
		for o, other := range e.sess {
			if o == k || m.sess[other].op != m.sess[s].op {
				continue
			}
			if o < k {
				e.opOf[k] = e.opOf[o]
				break
			}
			e.opOf[k] = e.ops
			e.ops++
			break
		}
	}
}

func sumOf(list []int, of func(int) int) (sum int) {
	for _, v := range list {
		sum += of(v)
	}
	return sum
}

// listSets numbers the sets that serve some of the rolls, and their baths.
func (e *ending) listSets(usable []bool) {
	m := e.m
	numbered, limited := make(map[int]int), make(map[int]int)
	for set := range m.sets {
		var area int64 // of all film that could go through it
		for g := range e.groups {
			if m.sets[set].serves[e.groups[g].process] {
				for _, s := range e.groups[g].sorts {
					area += int64(s.n) * m.rolls[s.roll].area
				}
			}
		}
		if area == 0 || !usable[set] {
			continue
		}
		es := endSet{index: set}
		for _, b := range m.sets[set].baths {
			if !m.baths[b].oneShot {
				if _, ok := numbered[b]; !ok {
					numbered[b] = len(numbered)
				}
				es.baths = append(es.baths, numbered[b])
			}
			if m.baths[b].area-m.base.area[b] < area {
				if _, ok := limited[b]; !ok {
					limited[b] = len(e.areas)
					e.areas = append(e.areas, b)
				}
				es.areas = append(es.areas, limited[b])
			}
		}
		e.sets = append(e.sets, es)
	}
	e.baths = len(numbered)
	shared := func(a int, b int) bool {
		return slices.ContainsFunc(e.sets[a].baths, func(x int) bool { return slices.Contains(e.sets[b].baths, x) })
	}
	for a := range e.sets {
		alone := true
		for b := range e.sets {
			alone = alone && (a == b || !shared(a, b))
		}
		if alone && len(e.sets[a].baths) > 1 {
			e.sets[a].baths = e.sets[a].baths[:1] // they are all in the same runs
		}
	}
}

// listLoads lists what one run of a group may hold; false where that is too much.
func (e *ending) listLoads(g int) bool {
	m, gr := e.m, &e.groups[g]
	s := m.base
	b := s.fresh(e.sess[gr.k], 0)
	defer s.release(b)
	n := make([]int, len(gr.sorts))
	var grow func(from int) bool
	grow = func(from int) bool {
		for i := from; i < len(gr.sorts); i++ {
			if n[i] == gr.sorts[i].n {
				continue
			}
			n[i]++
			b.rolls, b.cabs = append(b.rolls, gr.sorts[i].roll), append(b.cabs, 0)
			if e.bd.work(4); e.listLoad(g, n, b) {
				if len(e.loads) > mostEndLoads || !grow(i) {
					return false
				}
			}
			n[i]--
			b.rolls, b.cabs = b.rolls[:len(b.rolls)-1], b.cabs[:len(b.cabs)-1]
		}
		return true
	}
	if !grow(0) {
		return false
	}
	at := make(map[int]int)
	for _, l := range gr.loads {
		at[e.loads[l].cell] = l
	}
	for _, l := range gr.loads {
		for i := range gr.sorts {
			if o, ok := at[e.loads[l].cell+gr.sorts[i].cell]; ok && e.loads[l].n[i] < gr.sorts[i].n && e.free(&e.loads[l], &e.loads[o], m.rolls[gr.sorts[i].roll].kind) {
				e.loads[l].more = append(e.loads[l].more, i)
			}
		}
	}
	return true
}

// listLoad adds a load, if some set takes it; one that is too large for all has no
// larger ones either.
func (e *ending) listLoad(g int, n []int, b *batch) bool {
	m, gr := e.m, &e.groups[g]
	se := &m.sess[e.sess[gr.k]]
	tank := &m.tanks[se.tank]
	l := endLoad{group: g, n: slices.Clone(n), in: se.start}
	for i, k := range n {
		l.cell += k * gr.sorts[i].cell
	}
	fits := false
	for i := range e.sets {
		b.set = e.sets[i].index
		if m.shape(b) != "" {
			continue
		}
		fits = true
		l.load, l.area = b.load, b.area
		l.time = max(tank.warm[gr.process], b.load) + m.class[b.class].wet
		last := se.end - tank.clean - l.time
		if !m.sets[b.set].mix {
			if _, wet := m.life(b, -never); wet < never {
				last = min(last, wet-(l.time-m.class[b.class].wet))
			}
		}
		l.sets = append(l.sets, endBy{i, last})
	}
	if !fits {
		return false
	}
	for _, r := range b.rolls {
		l.in, l.dry = max(l.in, m.rolls[r].in), max(l.dry, m.rolls[r].fastest)
	}
	for _, kind := range e.binding {
		l.reels = append(l.reels, b.reels[kind])
	}
	gr.loads = append(gr.loads, len(e.loads))
	e.loads = append(e.loads, l)
	return true
}

// free says that a load may as well be another one, with a roll more of a kind.
func (e *ending) free(l, more *endLoad, kind int) bool {
	if more.time != l.time || more.load != l.load && e.opOf[e.groups[l.group].k] >= 0 || more.in != l.in || more.dry != l.dry || slices.Contains(e.binding, kind) {
		return false
	}
	for _, by := range l.sets {
		if len(e.sets[by.set].areas) > 0 || !slices.Contains(more.sets, by) {
			return false
		}
	}
	return true
}

// compareSets finds sets that are like others, each with baths of its own.
func (e *ending) compareSets() {
	uses := make([]string, len(e.sets))
	for l := range e.loads {
		for _, by := range e.loads[l].sets {
			uses[by.set] += fmt.Sprint(l, by.last, " ")
		}
	}
	own := func(a int) bool {
		return len(e.sets[a].baths) <= 1 && len(e.sets[a].areas) == 0 && !slices.ContainsFunc(e.sets, func(o endSet) bool {
			return o.index != e.sets[a].index && slices.ContainsFunc(o.baths, func(b int) bool { return slices.Contains(e.sets[a].baths, b) })
		})
	}
	for a := range e.sets {
		for b := range e.sets {
			if a != b && uses[a] == uses[b] && len(e.sets[a].baths) == len(e.sets[b].baths) && own(a) && own(b) {
				e.sets[a].twins = append(e.sets[a].twins, b)
			}
		}
	}
}

// measure finds how long runs of all numbers of a group take at least.
func (e *ending) measure(gr *endGroup) {
	clean := e.m.tanks[e.m.sess[e.sess[gr.k]].tank].clean
	gr.inTank, gr.inBath = make([]int64, gr.cells), make([]int64, gr.cells)
	left := make([]int, len(gr.sorts))
	for c := 1; c < gr.cells; c++ {
		gr.numbers(c, left)
		tank, bath := int64(never), int64(never)
		for _, l := range gr.loads {
			lo := &e.loads[l]
			if lo.within(left) {
				tank = min(tank, gr.inTank[c-lo.cell]+lo.time+clean)
				bath = min(bath, gr.inBath[c-lo.cell]+lo.time)
			}
		}
		e.bd.work(len(gr.loads)/16 + 1)
		gr.inTank[c], gr.inBath[c] = min(tank, never), min(bath, never)
	}
}

// numbers are how many rolls of each sort are in a cell.
func (gr *endGroup) numbers(cell int, out []int) {
	for i := range gr.sorts {
		out[i] = cell / gr.sorts[i].cell % (gr.sorts[i].n + 1)
	}
}

func (l *endLoad) within(left []int) bool {
	for i, n := range l.n {
		if n > left[i] {
			return false
		}
	}
	return true
}

// begin makes the first state, and room for those after it.
func (e *ending) begin() {
	m := e.m
	rolls := 0
	for g := range e.groups {
		for _, s := range e.groups[g].sorts {
			rolls += s.n
		}
	}
	reels := e.reelAt[len(e.reelAt)-1]
	e.size = 3*len(e.sess) + e.ops + e.baths + reels + len(e.areas)
	e.entry = make([]int64, e.size)
	for range rolls + 1 {
		e.stack = append(e.stack, endState{
			left: make([]int, len(e.groups)), tank: make([]int64, len(e.sess)), last: make([]int, len(e.sess)),
			op: make([]int64, e.ops), bath: make([]int64, e.baths), reels: make([]int64, reels), area: make([]int64, len(e.areas)),
		})
	}
	st := &e.stack[0]
	for g := range e.groups {
		st.left[g] = e.groups[g].cells - 1
		st.key += uint64(st.left[g]) * e.groups[g].stride
	}
	for k, s := range e.sess {
		st.tank[k], st.last[k] = m.sess[s].start, -1
	}
	for i, b := range e.areas {
		st.area[i] = m.baths[b].area - m.base.area[b]
	}
}

// solve is the least finish there is, the most given if none is sooner; 0 if that
// is too much work.
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
	if e.hopeless(st, from) || e.met(st, from) {
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
					if !ok || t > by.last || t+lo.time+lo.dry >= e.best {
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
		at := max(st.tank[k], from)
		end, last := at-tank.clean, min(m.sess[s].end-tank.clean, e.best-1-e.dry[k])
		others, same, any := int64(0), false, false
		for n, g := range e.of[k] {
			gr := &e.groups[g]
			if st.left[g] == 0 {
				continue
			}
			any = true
			end += gr.inTank[st.left[g]]
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
		if st.last[k] < 0 && !same {
			others--
		}
		if any && end+others*tank.flush > last {
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

// met says that the same was left before, with nothing free any later; if not, it
// will have been.
func (e *ending) met(st *endState, from int64) bool {
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
