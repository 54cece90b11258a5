package planner

import (
	"cmp"
	"slices"
)

// arrangements is in how many orders the runs of overlapping sessions are tried.
const arrangements = 120

// arrange gives runs of overlapping sessions a timetable by which level 2 comes out as
// promised. Where none is found it places them at their earliest times, in the best of
// several orders: one run after another is moved to another place in the order, and
// stays there when that is no worse. It returns a session whose runs could not be
// placed as promised, −1 when all could.
func (sr *search) arrange(rx *relaxation, specs []spec, promised int64) int {
	s := sr.s
	if len(specs) == 0 {
		return -1
	}
	before := len(s.batches)
	failed := -1
	var without []int // places in the order that found no room
	try := func(order []int, hangBy int) (worth, bool) {
		sr.undo(before)
		s.hangBy = hangBy
		failed, without = -1, without[:0]
		for n, i := range order {
			if sr.settle(&specs[i]) {
				continue
			}
			if without = append(without, n); failed < 0 {
				failed = specs[i].sess
			}
		}
		return s.value(), failed < 0
	}
	order := sr.m.scarceFirst(specs)
	good := sr.goodFor(specs, promised)
	hangBy := hangFast
	if sr.schedule(rx, specs, promised) {
		return -1
	}
	best, all := try(order, hangBy)
	squeezed := slices.Clone(without)
	for n := range arrangements {
		if all && good(&best) || len(order) < 2 {
			break
		}
		next := slices.Clone(order)
		from, to := sr.rng.IntN(len(order)), sr.rng.IntN(len(order))
		if len(squeezed) > 0 && n%2 == 1 { // who found no room is to be sooner
			if from = squeezed[sr.rng.IntN(len(squeezed))]; from > 0 {
				to = sr.rng.IntN(from)
			}
		}
		i := next[from]
		next = slices.Insert(slices.Delete(next, from, from+1), to, i)
		rx.spent += 3_000 * int64(len(order))
		by := hangFast
		if len(sr.m.cabs) > 1 && n%2 == 0 {
			by = hangDue
		}
		if w, ok := try(next, by); !best.less(&w) {
			best, all, order, hangBy = w, ok, next, by
			squeezed = append(squeezed[:0], without...)
		}
	}
	_, all = try(order, hangBy)
	s.hangBy = hangFast
	if all && !good(&best) {
		failed = sr.lateSession(specs)
	}
	return failed
}

// goodFor says of what worth a plan is to be with some runs more.
func (sr *search) goodFor(specs []spec, promised int64) func(*worth) bool {
	s := sr.s
	start, cost := s.value(), s.costWith(specs)
	return func(w *worth) bool {
		return w[lateness] <= start[lateness]-promised && w[chemistry] <= cost && (sr.aim == 0 || w[finish] <= max(sr.aim, start[finish]))
	}
}

// schedule gives runs of overlapping sessions a timetable as promised, and says whether
// there is one.
func (sr *search) schedule(rx *relaxation, specs []spec, promised int64) bool {
	s := sr.s
	good := sr.goodFor(specs, promised)
	s.hangBy = hangDue
	ok, nodes := sr.timetable(s.supplied(specs), timetableNodes, func() bool { w := s.value(); return good(&w) })
	s.hangBy = hangFast
	rx.spent += 1_500 * int64(nodes)
	return ok
}

// supplied are runs by other sets where their own have too little left for them all.
func (s *state) supplied(specs []spec) []spec {
	m := s.m
	out := slices.Clone(specs)
	used := slices.Clone(s.area)
	for i := range out {
		var area int64
		for _, r := range out[i].rolls {
			area += m.rolls[r].area
		}
		enough := func(set int) bool {
			return !slices.ContainsFunc(m.sets[set].baths, func(b int) bool { return area > m.baths[b].area-used[b] })
		}
		for _, set := range m.setsOf[m.class[m.rolls[out[i].rolls[0]].class].process] {
			if enough(out[i].set) {
				break
			}
			if enough(set) && !(m.sets[set].mix && s.mixedAt[set] == never) {
				out[i].set = set
			}
		}
		for _, b := range m.sets[out[i].set].baths {
			used[b] += area
		}
	}
	return out
}

// scarceFirst orders runs by how long the runs of their bath sets take in all.
func (m *model) scarceFirst(specs []spec) []int {
	bySet := make(map[int]int64)
	order := make([]int, len(specs))
	for i := range specs {
		order[i] = i
		if sp := &specs[i]; m.busyBath(sp.set) >= 0 {
			cl := &m.class[m.rolls[sp.rolls[0]].class]
			bySet[sp.set] += m.tanks[m.sess[sp.sess].tank].warm[cl.process] + cl.wet
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(bySet[specs[b].set], bySet[specs[a].set]) })
	return order
}

// costWith is level 3 with some runs by their sets.
func (s *state) costWith(specs []spec) int64 {
	m := s.m
	used, mixes := slices.Clone(s.area), make([]bool, len(m.sets))
	var sum int64
	for i := range specs {
		sp := &specs[i]
		mixes[sp.set] = m.sets[sp.set].mix
		for _, b := range m.sets[sp.set].baths {
			for _, r := range sp.rolls {
				used[b] += m.rolls[r].area
			}
		}
	}
	for set := range m.sets {
		if mixes[set] && s.mixedAt[set] == never || s.mixer[set] != nil {
			sum += m.sets[set].price
		}
	}
	for _, set := range m.waste {
		sum += m.unusedCost(set, used)
	}
	return sum
}

// lateSession is the session of the run that ends last among those with a roll
// later than it could be there; that of the last run when there is none.
func (sr *search) lateSession(specs []spec) int {
	var last, worst *batch
	for i := range specs {
		for _, r := range specs[i].rolls {
			b := sr.s.of[r]
			if b == nil {
				continue
			}
			if last == nil || b.end > last.end {
				last = b
			}
			soonest := sr.bounds.look(r).at[b.sess]
			if sr.m.rolls[r].late(sr.s.dry(b)) > sr.m.rolls[r].late(soonest) && (worst == nil || b.end > worst.end) {
				worst = b
			}
		}
	}
	if worst != nil {
		return worst.sess
	}
	return last.sess
}

// settle places a run with its set, or with another that is mixed.
func (sr *search) settle(sp *spec) bool {
	s, m := sr.s, sr.m
	b := s.fresh(sp.sess, sp.set)
	b.rolls = append(b.rolls, sp.rolls...)
	for range sp.rolls {
		b.cabs = append(b.cabs, 0)
	}
	if s.place(b) {
		return true
	}
	for _, set := range m.setsOf[m.class[m.rolls[sp.rolls[0]].class].process] {
		if set == sp.set || m.sets[set].mix && s.mixedAt[set] == never {
			continue
		}
		if b.set = set; s.place(b) {
			return true
		}
	}
	s.release(b)
	return false
}
