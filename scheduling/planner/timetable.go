package planner

import (
	"cmp"
	"slices"
)

// A timetable gives runs of overlapping sessions their times, each in its session and
// by its set, so that each ends by a deadline. It goes through the orders in which
// they may start, each at its earliest and none that could as well have waited until
// another was over (active schedules: Giffler and Thompson 1960), and turns back where
// a tank or a bath has no time left for what is to come.
type timetable struct {
	s     *state
	runs  []*batch
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
const timetableNodes = 400

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
		if s.when(b) != "" || !tt.inTime(i) || s.carries(b) >= 0 {
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
	for _, t := range slices.Clone(turns) {
		if t.start >= first {
			continue
		}
		if tt.nodes--; tt.nodes < 0 {
			return false
		}
		b := tt.runs[t.run]
		s.notBefore = from
		if s.when(b) != "" {
			continue
		}
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

// inBath is when a run's bath is free again at the soonest, with all that is to come,
// and when the last of that is to end.
func (tt *timetable) inBath(i, bath int, from int64) (over, end int64) {
	m, b := tt.s.m, tt.runs[i]
	over = int64(never)
	var sum int64
	for k, o := range tt.runs {
		if tt.done[k] || o.set != b.set {
			continue
		}
		se := &m.sess[o.sess]
		over = min(over, max(from, se.start))
		sum += max(m.tanks[se.tank].warm[m.class[o.class].process], o.load) + m.class[o.class].wet
		end = max(end, tt.last[k])
	}
	for _, busy := range tt.s.inBath[bath] {
		if busy.owner != nil && busy.from <= from {
			over = max(over, busy.to)
		}
	}
	return over + sum, end
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
	if bath := tt.s.m.busyBath(tt.runs[t.run].set); bath >= 0 {
		over, end := tt.inBath(t.run, bath, from)
		t.slack = min(t.slack, end-over)
	}
}
