package planner

import (
	"cmp"
	"slices"
)

// A timetable gives runs of overlapping sessions their times, each in its session and
// by its set, or another where that costs nothing, so that each ends by a deadline. It
// goes through the orders in which they may start, each at its earliest and none that
// could as well have waited until another was over (active schedules: Giffler and
// Thompson 1960), and turns back where a tank or a bath has no time left for what is to
// come.
type timetable struct {
	s     *state
	runs  []*batch
	sets  [][]int // by run: those that cost nothing, if its own does not; its own first
	last  []int64 // by run: its latest end
	done  []bool
	nodes int
	by    int64 // when all film is to be dry, 0 for any time
	good  func() bool
	turns []turn
}

// A turn is when a run might be next.
type turn struct {
	run          int
	start, slack int64
}

// timetableNodes bounds the starts that are tried for one timetable.
const timetableNodes = 4_000

// timetable places runs so that each is in time and all is good, and says whether it
// did, and how many starts it tried, of most.
func (sr *search) timetable(specs []spec, most int, good func() bool) (ok bool, nodes int) {
	s := sr.s
	tt := timetable{s: s, done: make([]bool, len(specs)), nodes: most, by: sr.aim, good: good}
	before := len(s.batches)
	for i := range specs {
		b := s.fresh(specs[i].sess, specs[i].set)
		for _, r := range specs[i].rolls {
			s.m.with(b, r)
		}
		tt.runs, tt.last = append(tt.runs, b), append(tt.last, specs[i].last)
		tt.sets = append(tt.sets, s.m.asGood(b))
	}
	if !slices.ContainsFunc(tt.runs, func(b *batch) bool { return s.m.shape(b) != "" }) && tt.next(0, 0) {
		return true, most - tt.nodes
	}
	for _, b := range tt.runs {
		s.release(b)
	}
	s.batches = s.batches[:before]
	s.notBefore = 0
	return false, most - tt.nodes
}

// next places one run more, not before an instant, and all after it.
func (tt *timetable) next(placed int, from int64) bool {
	s := tt.s
	if placed == len(tt.runs) {
		s.notBefore = 0
		return tt.good()
	}
	s.notBefore = from
	at := len(tt.turns)
	defer func() { tt.turns = tt.turns[:at] }()
	first := int64(never) // end of a run
	for i, b := range tt.runs {
		if tt.done[i] {
			continue
		}
		if !tt.soonest(i) || !tt.inTime(i) {
			return false
		}
		first = min(first, b.end)
		tt.turns = append(tt.turns, turn{i, b.start, tt.last[i] - b.end})
	}
	turns := tt.turns[at:]
	for k := range turns {
		if tt.squeeze(&turns[k], from); turns[k].slack < 0 {
			return false
		}
	}
	slices.SortStableFunc(turns, func(a, b turn) int { return cmp.Or(cmp.Compare(a.slack, b.slack), cmp.Compare(a.start, b.start)) })
	tried := false
	for _, t := range slices.Clone(turns) {
		if t.start >= first {
			continue
		}
		if tt.nodes--; tt.nodes < 0 {
			return false
		}
		b := tt.runs[t.run]
		s.notBefore = from
		if tried && !tt.soonest(t.run) { // what was tried left other times
			continue
		}
		tried = true
		s.attach(b)
		s.batches = append(s.batches, b)
		tt.done[t.run] = true
		if tt.next(placed+1, b.start) {
			return true
		}
		tt.done[t.run] = false
		s.batches = s.batches[:len(s.batches)-1]
		s.detach(b)
	}
	return false
}

// asGood are the sets that a run may as well be by, its own first: others where neither
// is to be mixed, and nothing of them is wasted.
func (m *model) asGood(b *batch) []int {
	out := []int{b.set}
	if !m.costsNothing(b.set) {
		return out
	}
	for _, set := range m.setsOf[m.class[m.rolls[b.rolls[0]].class].process] {
		if set != b.set && m.costsNothing(set) {
			out = append(out, set)
		}
	}
	return out
}

// costsNothing says that a set costs nothing, however much of it is used.
func (m *model) costsNothing(set int) bool { return !m.sets[set].mix && !slices.Contains(m.waste, set) }

// soonest gives a run its earliest time, by the set that is free first.
func (tt *timetable) soonest(i int) bool {
	s, b := tt.s, tt.runs[i]
	if len(tt.sets[i]) == 1 {
		return s.when(b) == "" && s.carries(b) < 0
	}
	best, first := -1, int64(never)
	for _, set := range tt.sets[i] {
		b.set = set
		if s.m.shape(b) == "" && s.carries(b) < 0 && s.when(b) == "" && b.start < first {
			best, first = set, b.start
		}
	}
	if best < 0 {
		b.set = tt.sets[i][0]
		return false
	}
	if b.set != best {
		b.set = best
		return s.m.shape(b) == "" && s.when(b) == ""
	}
	return true
}

// inTime says that a run as it would be placed ends by its deadline, and its film is
// dry by when all is to be.
func (tt *timetable) inTime(i int) bool {
	b := tt.runs[i]
	if b.end > tt.last[i] {
		return false
	}
	for _, c := range b.cabs {
		if tt.by > 0 && b.end+tt.s.m.cabs[c].dry > tt.by {
			return false
		}
	}
	return true
}

// inTank is when a run's session is over at the soonest, with all that is to come,
// and when it ends.
func (tt *timetable) inTank(i int, from int64) (over, end int64) {
	m, b := tt.s.m, tt.runs[i]
	se := &m.sess[b.sess]
	tank := &m.tanks[se.tank]
	over = max(from, se.start)
	for _, st := range tt.s.stays[se.tank] {
		if st.owner != nil && st.owner.sess == b.sess {
			over = max(over, st.to)
		}
	}
	processes := int64(0)
	var seen uint64
	for k, o := range tt.runs {
		if tt.done[k] || o.sess != b.sess {
			continue
		}
		over += max(tank.warm[m.class[o.class].process], o.load) + m.class[o.class].wet + tank.clean
		if p := uint64(1) << (m.class[o.class].process & 63); seen&p == 0 {
			seen |= p
			processes++
		}
	}
	return over + (processes-1)*tank.flush, se.end
}

// bathSlack is how much longer the baths that a run might be in are free, until the last
// run that can be in no others is to end, than all of those that are to come take.
func (tt *timetable) bathSlack(i int, from int64) int64 {
	m := tt.s.m
	first, end, sum := int64(never), int64(0), int64(0)
	for k, o := range tt.runs {
		elsewhere := slices.ContainsFunc(tt.sets[k], func(set int) bool { return !slices.Contains(tt.sets[i], set) })
		if tt.done[k] || elsewhere {
			continue
		}
		se := &m.sess[o.sess]
		first = min(first, max(from, se.start))
		sum += max(m.tanks[se.tank].warm[m.class[o.class].process], o.load) + m.class[o.class].wet
		end = max(end, tt.last[k])
	}
	room := -sum
	for _, set := range tt.sets[i] {
		bath := m.busyBath(set)
		if bath < 0 {
			return never
		}
		at := first
		for _, busy := range tt.s.inBath[bath] {
			if busy.owner != nil && busy.from <= from {
				at = max(at, busy.to)
			}
		}
		room += max(end-at, 0)
	}
	return room
}

// busyBath is a bath of a set that is in one run at a time; −1 where there is none.
func (m *model) busyBath(set int) int {
	for _, b := range m.sets[set].baths {
		if !m.baths[b].oneShot {
			return b
		}
	}
	return -1
}

// squeeze lessens a turn's slack to that of its tank and bath; it is below 0 where they
// have no time for all runs that are to come.
func (tt *timetable) squeeze(t *turn, from int64) {
	over, end := tt.inTank(t.run, from)
	t.slack = min(t.slack, end-over)
	t.slack = min(t.slack, tt.bathSlack(t.run, from))
}
