package planner

import "slices"

// What is held to the sessions of the last days is dry no sooner than those alone
// can have it dry, whatever is elsewhere. That is a small scheduling problem by
// itself, solved by enumeration: runs are placed in the order in which they start,
// each at its earliest, which loses no best schedule as long as what runs take they
// take from their start on; work by hand and hanging positions, which they do not,
// are left out.

// endNodes bounds the runs that are tried for one such bound.
const (
	endNodes      = 20_000
	endNodesQuick = 1_000
)

// An ending is the enumeration for sessions that overlap.
type ending struct {
	bd     *bounds
	s      *state
	sess   []int
	usable []bool  // sets
	left   [][]int // by session in sess: rolls yet to place, alike ones together
	best   int64
	nodes  int
}

// heldTo are the rolls that are in one of some sessions in every plan that leaves
// out none of some others: those held there, and those that can be nowhere else.
func (bd *bounds) heldTo(sess int, must []bool) []int {
	m := bd.m
	var out []int
	for i := range m.rolls {
		if !must[i] || bd.of(i).at[sess] >= never {
			continue
		}
		elsewhere := false
		for s, at := range bd.of(i).at {
			elsewhere = elsewhere || s != sess && at < never
		}
		if !elsewhere {
			out = append(out, i)
		}
	}
	slices.SortStableFunc(out, func(a, b int) int { return m.rolls[a].typ - m.rolls[b].typ })
	return out
}

// lastBound is when all film can be dry at the soonest, if some sets are not to be
// used, for plans that place some rolls; most where it is no sooner than that, and
// known where no more is known.
func (bd *bounds) lastBound(must, usable []bool, known, most int64) int64 {
	if !bd.m.leadsLast() {
		return known
	}
	var slowest int64
	for i := range bd.m.rolls {
		slowest = max(slowest, bd.m.rolls[i].fastest%never)
	}
	for _, c := range slices.Backward(bd.clusters(nil)) {
		if c.to+slowest <= known {
			break
		}
		if e := bd.ending(c.sessions, must, usable, most); e != nil {
			known = max(known, e.solve())
		}
	}
	return known
}

// leadsLast says that a class with a longer developing time is nowhere sooner done:
// then no company makes a run sooner.
func (m *model) leadsLast() bool {
	for a := range m.class {
		for b := range m.class {
			if a == b || !m.share(a, b) || !m.leads(a, b) {
				continue
			}
			x, y := &m.class[a], &m.class[b]
			if x.wet < y.wet || len(x.steps) != len(y.steps) {
				return false
			}
			for i := range x.steps {
				if x.steps[i].role != y.steps[i].role || x.steps[i].begins < y.steps[i].begins {
					return false
				}
			}
		}
	}
	return true
}

// ending is nil where the sessions hold nothing.
func (bd *bounds) ending(sessions []int, must, usable []bool, most int64) *ending {
	m := bd.m
	e := &ending{bd: bd, usable: usable, best: most, nodes: endNodes}
	if bd.quick {
		e.nodes = endNodesQuick
	}
	for _, s := range sessions {
		if rolls := bd.heldTo(s, must); len(rolls) > 0 {
			e.sess, e.left = append(e.sess, s), append(e.left, rolls)
		}
	}
	if len(e.sess) == 0 {
		return nil
	}
	e.s = newState(m)
	e.s.reset()
	e.s.lax, e.s.relaxed = true, true
	for set := range m.sets {
		if m.sets[set].mix && e.s.mixedAt[set] == never {
			e.s.mixedAt[set] = -never // in time, whenever that is
		}
	}
	return e
}

// solve is the least finish there is, the most given if none is sooner; 0 if that
// is too much work.
func (e *ending) solve() int64 {
	e.place(0, 0)
	if e.nodes < 0 {
		return 0
	}
	return e.best
}

// place places one run more, none starting before an instant, and goes on.
func (e *ending) place(from, finish int64) {
	none := true
	for k := range e.left {
		none = none && len(e.left[k]) == 0
	}
	if none {
		e.best = min(e.best, finish)
		return
	}
	if e.atLeast(from) >= e.best {
		return
	}
	for k := range e.sess {
		e.loads(k, 0, nil, from, finish)
	}
}

// loads tries all loads of a session that go on from one with some rolls.
func (e *ending) loads(k, next int, load []int, from, finish int64) {
	m := e.bd.m
	rolls := e.left[k]
	for i := next; i < len(rolls); i++ {
		r := rolls[i]
		if len(load) > 0 && !m.share(m.rolls[load[0]].class, m.rolls[r].class) {
			continue
		}
		if i > next && m.rolls[rolls[i-1]].typ == m.rolls[r].typ {
			continue // as good as the one before, which was passed over
		}
		e.loads(k, i+1, append(load, r), from, finish)
	}
	if len(load) > 0 {
		e.run(k, load, from, finish)
	}
}

// run tries a load by all sets.
func (e *ending) run(k int, load []int, from, finish int64) {
	m, s := e.bd.m, e.s
	for _, set := range m.setsOf[m.class[m.rolls[load[0]].class].process] {
		if !e.usable[set] {
			continue
		}
		e.bd.work(16)
		if e.nodes--; e.nodes < 0 {
			return
		}
		b := s.fresh(e.sess[k], set)
		for _, r := range load {
			m.with(b, r)
		}
		s.notBefore = from
		dry := int64(0)
		if s.room(b) {
			for _, r := range load {
				dry = max(dry, b.end+m.rolls[r].fastest)
			}
		}
		if dry == 0 || dry >= e.best {
			s.release(b)
			continue
		}
		s.attach(b)
		all := e.left[k]
		rest := make([]int, 0, len(all))
		for _, r := range all {
			if !slices.Contains(load, r) {
				rest = append(rest, r)
			}
		}
		e.left[k] = rest
		e.place(b.start, max(finish, dry))
		e.left[k] = all
		s.detach(b)
		s.release(b)
	}
}

// atLeast is when what is left is dry at the soonest, were each tank and the sets of
// each process by themselves, and no run before an instant.
func (e *ending) atLeast(from int64) int64 {
	m, s := e.bd.m, e.s
	var bound int64
	inBath := make([]int64, len(m.processes)) // time in the baths of each process, in all
	soonest := make([]int64, len(m.processes))
	for k, sess := range e.sess {
		if len(e.left[k]) == 0 {
			continue
		}
		se := &m.sess[sess]
		tank := &m.tanks[se.tank]
		at := max(from, se.start)
		for _, st := range s.stays[se.tank] {
			if st.owner != nil {
				at = max(at, st.to)
			}
		}
		sum, dry := int64(0), int64(never)
		for i, r := range e.left[k] {
			ro := &m.rolls[r]
			cl := &m.class[ro.class]
			dry = min(dry, ro.fastest)
			if slices.ContainsFunc(e.left[k][:i], func(o int) bool { return m.share(m.rolls[o].class, ro.class) }) {
				continue // one run may do for both
			}
			run := max(tank.warm[cl.process], m.kinds[ro.kind].load) + cl.wet
			sum += run + tank.clean
			inBath[cl.process] += run
			if soonest[cl.process] == 0 || ro.fastest < soonest[cl.process] {
				soonest[cl.process] = ro.fastest
			}
		}
		bound = max(bound, at+sum-tank.clean+dry)
	}
	for p, time := range inBath {
		var sets int64
		for _, set := range m.setsOf[p] {
			if e.usable[set] {
				sets++
			}
		}
		shared := slices.ContainsFunc(m.setsOf[p], func(set int) bool { return m.busyBath(set) < 0 })
		if time > 0 && sets > 0 && !shared {
			bound = max(bound, from+(time+sets-1)/sets+soonest[p])
		}
	}
	return bound
}
