package planner

import "slices"

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
	reelAt  []int   // by these: where the times are at which they are free, and where those end
	ops     int     // operators of several sessions
	opOf    []int   // by session, −1: of no other
	baths   int     // that are in one run at a time
	areas   []int   // baths that may have too little left

	stack []endState
	seen  map[uint64][]int64
	size  int // of an entry there
	entry []int64

	runs   int   // at most; 0 for any number
	late   int64 // after which film of runs that end hangs all at once, to be dry in time
	places int64 // that there are for it; never: no fewer than it could need

	best   int64
	enough int64 // a finish than which none better is looked for
	nodes  int
}

// endNodes bounds the runs that are tried for one ending.
const (
	endNodes      = 20_000
	endNodesQuick = 1_000
	mostEndRolls  = 48
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
	fewest     []int   // runs
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
	places      int64   // that its film hangs in
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
	// places are those left for film that hangs last.
	places int64
}

// endingOf makes the ending of some rolls by session; nil where there are none, or too
// many.
func (bd *bounds) endingOf(sess []int, rolls [][]int, usable []bool, most int64, nodes int) *ending {
	all := 0
	for _, list := range rolls {
		all += len(list)
	}
	if all == 0 || all > mostEndRolls {
		return nil
	}
	e := &ending{bd: bd, m: bd.m, best: most, nodes: nodes, seen: make(map[uint64][]int64)}
	for k, list := range rolls {
		if len(list) > 0 {
			e.sess, e.of = append(e.sess, sess[k]), append(e.of, nil)
			e.sortOut(len(e.sess)-1, list)
		}
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
	e.hangLast()
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
	e.reelAt = append(e.reelAt, 0)
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
			e.binding = append(e.binding, kind)
			e.reelAt = append(e.reelAt, e.reelAt[len(e.reelAt)-1]+int(m.kinds[kind].count))
		}
	}
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

// hangLast finds which film hangs all at once, and in how many places.
func (e *ending) hangLast() {
	e.places = never
	fast, spread, places := e.bd.m.hangsTogether(e.best - 1)
	var all int64
	for g := range e.groups {
		for _, s := range e.groups[g].sorts {
			all += int64(s.n) * fewestPlaces(e.m.rolls[s.roll].takes)
		}
	}
	if fast > 0 && e.best < never && all > places {
		e.late, e.places = e.best-1-spread, places
	}
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
	e.size = 3*len(e.sess) + e.ops + e.baths + reels + len(e.areas) + 2
	e.entry = make([]int64, e.size)
	for range rolls + 1 {
		e.stack = append(e.stack, endState{
			left: make([]int, len(e.groups)), tank: make([]int64, len(e.sess)), last: make([]int, len(e.sess)),
			op: make([]int64, e.ops), bath: make([]int64, e.baths), reels: make([]int64, reels), area: make([]int64, len(e.areas)),
		})
	}
	st := &e.stack[0]
	st.places = e.places
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
