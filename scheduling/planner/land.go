package planner

import (
	"cmp"
	"slices"
)

// land makes a plan of a master's optimum, one cluster of overlapping sessions
// after another: where the runs of its contents cannot be placed as promised,
// others are tried, and in the end what found no room goes back to the
// relaxation to be placed later. It mixes no kit that is not mixed there.
func (sr *search) land(pf *proofs, ma *master, stop func() bool) {
	rx, m, s := pf.rx, sr.m, sr.s
	ma.refresh()
	for set, col := range ma.kit {
		sr.bd.shut[set] = col >= 0 && ma.sx.value(col) < 1e-6
		if sr.bd.shut[set] {
			ma.sx.cols[col].off = true
		}
	}
	sr.aim = ma.goal.finish
	clear(s.mixFrom)
	s.reset()
	s.dryBy = sr.aim
	given := make([]bool, len(m.rolls))
	dv := ma.dive(sr.rng, stop)
	for _, cluster := range rx.overlapping() {
		for try := 0; ; try++ {
			dv.settle(cluster)
			now := slices.Clone(given)
			var specs []spec
			var promised int64
			for _, i := range cluster {
				if c := dv.settled[i]; c >= 0 {
					sp, p := rx.runs(&rx.pool[c], now, m.urgent)
					specs, promised = append(specs, sp...), promised+p
				}
			}
			before := len(s.batches)
			failed := sr.arrange(rx, specs, promised, true)
			if failed < 0 {
				given = now
				break
			}
			if try == mostTries || stop() {
				sr.holdOn(rx, specs, before)
				dv.amend(specs, sr)
				given = now
				break
			}
			sr.undo(before)
			for _, i := range cluster {
				if c := dv.settled[i]; c >= 0 && rx.sess[i].index == failed {
					dv.release(i)
					dv.ban(c)
				}
			}
			dv.again()
		}
	}
	dv.end()
	for set, col := range ma.kit {
		if sr.bd.shut[set] {
			ma.sx.cols[col].off = false
		}
	}
	sr.insertRest()
	clear(sr.bd.shut)
	sr.keep(s.value())
}

// holdOn places runs again without rolls that might be elsewhere, where held ones
// found no room: those of the session that failed, or of all.
func (sr *search) holdOn(rx *relaxation, specs []spec, before int) {
	m, s := sr.m, sr.s
	held := func(r int) bool { return m.rolls[r].held != noHold }
	lost := make(map[int]bool) // sessions with held rolls that found no room
	for i := range specs {
		for _, r := range specs[i].rolls {
			if held(r) && s.of[r] == nil {
				lost[specs[i].sess] = true
			}
		}
	}
	if len(lost) == 0 {
		return
	}
	for _, all := range []bool{false, true} {
		var fewer []spec
		for _, sp := range specs {
			if all || lost[sp.sess] {
				sp.rolls = slices.DeleteFunc(slices.Clone(sp.rolls), func(r int) bool { return !held(r) })
			}
			if len(sp.rolls) > 0 {
				fewer = append(fewer, sp)
			}
		}
		sr.undo(before)
		if sr.arrange(rx, fewer, -never, true) < 0 {
			return
		}
	}
}

// insertRest inserts all rolls that the state has no place for yet.
func (sr *search) insertRest() {
	sr.now, sr.cut = sr.now[:0], sr.cut[:0]
	clear(sr.drop)
	sr.bd.avoid = -1
	sr.fillPool(false)
	sr.sortPool(byDue)
	sr.bd.version++
	sr.bd.skip, sr.bd.tie, sr.bd.first = nil, 0, 0
	for _, r := range sr.pool {
		sr.bd.insert(r)
	}
}

// amend takes rolls that found no room out of the contents that sessions are
// settled for, and solves again, so that others may take them.
func (dv *dive) amend(specs []spec, sr *search) {
	ma, rx := dv.ma, dv.ma.rx
	lost := make(map[int]map[int]int64) // by session and type
	for i := range specs {
		for _, r := range specs[i].rolls {
			if sr.s.of[r] == nil {
				if lost[specs[i].sess] == nil {
					lost[specs[i].sess] = make(map[int]int64)
				}
				lost[specs[i].sess][rx.typeOf[r]]++
			}
		}
	}
	for i, c := range dv.settled {
		if c < 0 || lost[rx.sess[i].index] == nil {
			continue
		}
		gone := lost[rx.sess[i].index]
		co := rx.pool[c]
		co.items = slices.Clone(co.items)
		for k := range co.items {
			it := &co.items[k]
			n := min(it.n, gone[it.typ])
			it.n -= n
			gone[it.typ] -= n
		}
		co.items = slices.DeleteFunc(co.items, func(it item) bool { return it.n == 0 })
		dv.release(i)
		rx.pool = append(rx.pool, co)
		ma.add(len(rx.pool) - 1)
		dv.settled[i] = len(rx.pool) - 1
		dv.others(i, dv.settled[i], 1)
	}
	dv.again()
}

// undo takes back the batches placed after the first so many.
func (sr *search) undo(before int) {
	s := sr.s
	for _, b := range s.batches[before:] {
		s.detach(b)
		s.release(b)
	}
	s.batches = s.batches[:before]
}

// arrangements is in how many orders the runs of overlapping sessions are tried.
const arrangements = 120

// arrange places runs at their earliest times, in the best of several orders:
// one run after another is moved to another place in the order, and stays there
// when that is no worse. It returns a session whose runs could not be placed so
// that level 2 comes out as promised, −1 when all could.
func (sr *search) arrange(rx *relaxation, specs []spec, promised int64, anySet bool) int {
	s := sr.s
	if len(specs) == 0 {
		return -1
	}
	before := len(s.batches)
	failed := -1
	try := func(order []int, hangBy int) (worth, bool) {
		sr.undo(before)
		s.hangBy = hangBy
		failed = -1
		for _, i := range order {
			if !sr.settle(&specs[i], anySet) && failed < 0 {
				failed = specs[i].sess
			}
		}
		return s.value(), failed < 0
	}
	order := make([]int, len(specs))
	for i := range order {
		order[i] = i
	}
	start, cost := s.value(), s.costWith(specs)
	good := func(w *worth) bool {
		return w[lateness] <= start[lateness]-promised && w[chemistry] <= cost && (sr.aim == 0 || w[finish] <= max(sr.aim, start[finish]))
	}
	hangBy := hangFast
	best, all := try(order, hangBy)
	for n := range arrangements {
		if all && good(&best) || len(order) < 2 {
			break
		}
		next := slices.Clone(order)
		from, to := sr.rng.IntN(len(order)), sr.rng.IntN(len(order))
		i := next[from]
		next = slices.Insert(slices.Delete(next, from, from+1), to, i)
		rx.spent += 3_000 * int64(len(order))
		by := hangFast
		if len(sr.m.cabs) > 1 && n%2 == 0 {
			by = hangDue
		}
		if w, ok := try(next, by); !best.less(&w) {
			best, all, order, hangBy = w, ok, next, by
		}
	}
	_, ok := try(order, hangBy)
	s.hangBy = hangFast
	if ok && !good(&best) {
		failed = sr.lateSession(specs)
	}
	return failed
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

// settle places a run with its set, or, where any will do, with another that is
// mixed.
func (sr *search) settle(sp *spec, anySet bool) bool {
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
		if !anySet || set == sp.set || m.sets[set].mix && s.mixedAt[set] == never {
			continue
		}
		if b.set = set; s.place(b) {
			return true
		}
	}
	s.release(b)
	return false
}

// runs are the batches of a content, of rolls that no other has been given, and
// what they take off level 2 by the relaxation.
func (rx *relaxation) runs(c *content, given []bool, sooner func(a, b int) int) ([]spec, int64) {
	var promised int64
	m := rx.m
	var out []spec
	s := rx.sess[c.sess].index
	have := make(map[item][]int) // rolls by type and set
	for _, it := range c.items {
		n := it.n
		for _, r := range rx.types[it.typ].rolls {
			if n > 0 && !given[r] {
				given[r] = true
				promised += m.rolls[r].out - rx.types[it.typ].late[s]
				if !it.early {
					promised -= rx.types[it.typ].jump[s]
				}
				key := item{typ: rx.types[it.typ].kind, set: it.set, n: int64(rx.types[it.typ].class)}
				have[key] = append(have[key], r)
				n--
			}
		}
	}
	for _, l := range c.loads {
		o := &rx.sess[c.sess].offers[l.offer]
		// Rolls by kind, those that are to be in the first runs first.
		byKind := make([][]int, len(o.kinds))
		numbers := make([]int, len(o.kinds))
		for d, k := range o.kinds {
			for _, class := range rx.classesOf(o.lead) {
				key := item{typ: k, set: l.set, n: int64(class)}
				take := min(len(have[key]), l.reels[d]*int(o.box.holds[d])-len(byKind[d]))
				byKind[d] = append(byKind[d], have[key][:take]...)
				have[key] = have[key][take:]
			}
			slices.SortStableFunc(byKind[d], sooner)
			numbers[d] = (len(byKind[d]) + int(o.box.holds[d]) - 1) / int(o.box.holds[d])
		}
		for _, take := range o.box.split(numbers) {
			sp := spec{sess: s, set: l.set}
			for d, n := range take {
				n = min(n*int(o.box.holds[d]), len(byKind[d]))
				sp.rolls = append(sp.rolls, byKind[d][:n]...)
				byKind[d] = byKind[d][n:]
			}
			if len(sp.rolls) > 0 {
				out = append(out, sp)
			}
		}
	}
	return out, promised
}

// urgent orders rolls by when they are due and how much that counts.
func (m *model) urgent(a, b int) int {
	return cmp.Or(cmp.Compare(m.rolls[a].due, m.rolls[b].due), cmp.Compare(m.rolls[b].weight, m.rolls[a].weight))
}

// classesOf are the classes that may run by a lead, itself first.
func (rx *relaxation) classesOf(l int) []int {
	out := []int{rx.leads[l].class}
	for _, t := range rx.leads[l].types {
		if c := rx.types[t].class; !slices.Contains(out, c) {
			out = append(out, c)
		}
	}
	return out
}
