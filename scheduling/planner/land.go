package planner

import (
	"cmp"
	"slices"
)

// land makes a plan of a master's optimum: drawn by outlines, or else one cluster of
// overlapping sessions after another, where, if the runs of its contents cannot be placed
// as promised, others are tried, and in the end what found no room goes back to the
// relaxation to be placed later. It mixes no kit that is not mixed there. It says
// whether it made one: where there is a plan about as good, it gives up what cannot be
// drawn.
func (sr *search) land(pf *proofs, ma *master, stop func() bool) bool {
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
	dv.most = max(dv.most, ma.provenBy(pf))
	// Every other time a plan one run better than the best will do.
	if w := &sr.bestWorth; ma.dives%2 == 1 && ma.goal.level == runs && ma.goal.finish == 0 && sameAbove(w, &ma.goal.worth, runs) {
		dv.most = max(dv.most, float64(w[runs]-1)+1e-3)
	}
	giveUp := ma.dives > 0 && len(m.rolls) >= windowRolls && sr.nearly(ma)
	if sr.draw(dv, stop) {
		return sr.landed(dv)
	}
	if giveUp {
		sr.leave(dv)
		return false
	}
	dv.forget()
	s.reset()
	for _, cluster := range rx.clusters {
		for try := 0; ; try++ {
			dv.settle(cluster)
			now := slices.Clone(given)
			var specs []spec
			var promised int64
			for _, i := range cluster {
				if c := dv.settled[i]; c >= 0 {
					sp, p := rx.runs(&rx.pool[c], &ma.li, now, m.urgent)
					specs, promised = append(specs, sp...), promised+p
				}
			}
			before := len(s.batches)
			failed := sr.arrange(rx, specs, promised)
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
	return sr.landed(dv)
}

// landed ends a dive, and makes what came of it the current plan.
func (sr *search) landed(dv *dive) bool {
	dv.end()
	sr.reopen(dv.ma)
	sr.insertRest()
	clear(sr.bd.shut)
	sr.keep(sr.s.value())
	return true
}

// leave ends a dive of which nothing came.
func (sr *search) leave(dv *dive) {
	dv.end()
	sr.reopen(dv.ma)
	clear(sr.bd.shut)
}

// reopen has a master's kits that were shut for a plan to be had again.
func (sr *search) reopen(ma *master) {
	for set, col := range ma.kit {
		if sr.bd.shut[set] {
			ma.sx.cols[col].off = false
		}
	}
}

// nearly says that the best plan is about as good as one of a master may be.
func (sr *search) nearly(ma *master) bool {
	level, w := max(ma.goal.level, 0), &sr.bestWorth
	return sameAbove(w, &ma.goal.worth, level) && (level != runs || float64(w[runs]) <= ma.least()+2)
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
		if sr.arrange(rx, fewer, -never) < 0 {
			return
		}
	}
}

// insertRest inserts all rolls that the state has no place for yet.
func (sr *search) insertRest() {
	sr.now = sr.now[:0]
	sr.ruinNothing()
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
		dv.choose(i, len(rx.pool)-1)
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

// runs are the batches of a content, of rolls that no other has been given, and
// what they take off level 2 by the relaxation.
func (rx *relaxation) runs(c *content, li *limits, given []bool, sooner func(a, b int) int) ([]spec, int64) {
	var promised int64
	m := rx.m
	var out []spec
	s := rx.sess[c.sess].index
	have := make(map[item][]int) // rolls by kind, class, set, and whether they are early
	for _, it := range c.items {
		n := it.n
		for _, r := range rx.types[it.typ].rolls {
			if n > 0 && !given[r] {
				given[r] = true
				promised += m.rolls[r].out - rx.types[it.typ].late[s]
				if !it.early {
					promised -= li.jumps[c.sess][it.typ]
				}
				key := item{typ: rx.types[it.typ].kind, set: it.set, n: int64(rx.types[it.typ].class), early: it.early}
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
				key := item{typ: k, set: l.set, n: int64(class), early: l.early}
				take := min(len(have[key]), l.reels[d]*int(o.box.holds[d])-len(byKind[d]))
				byKind[d] = append(byKind[d], have[key][:take]...)
				have[key] = have[key][take:]
			}
			slices.SortStableFunc(byKind[d], sooner)
			numbers[d] = (len(byKind[d]) + int(o.box.holds[d]) - 1) / int(o.box.holds[d])
		}
		for _, take := range o.box.split(numbers) {
			sp := spec{sess: s, set: l.set, last: m.sess[s].end - rx.cleanUp(c.sess)}
			if l.early && li.strict { // for what hangs last
				sp.last = min(sp.last, m.sess[s].start+li.early[c.sess])
			}
			for d, n := range take {
				n = min(n*int(o.box.holds[d]), len(byKind[d]))
				sp.rolls = append(sp.rolls, byKind[d][:n]...)
				byKind[d] = byKind[d][n:]
			}
			for _, r := range sp.rolls {
				if l.early || li.jumps[c.sess][rx.typeOf[r]] == 0 {
					sp.last = min(sp.last, m.rolls[r].breakpoint(rx.bd.look(r).at[s]))
				}
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
