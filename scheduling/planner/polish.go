package planner

import (
	"cmp"
	"slices"
)

// What is dry last is in few sessions, and mostly little has to be moved for it to be
// dry sooner. A polish goes through such moves one by one: the runs of that day in
// another order; one of them in another session, or by another set; one of its rolls in
// another run, or for another roll; a run for one of another session, or a roll that
// another makes room for. The days it concerns get new timetables, and the first that
// makes the plan better stands.
type polish struct {
	sr      *search
	bd      *bounds
	stop    func() bool
	plan    []*batch
	worth   worth
	cluster []int   // by session
	specs   []spec  // the plan as it might be
	last    []int64 // by roll: the latest end of a run with which it is no later
	moved   []int   // batches that are not as they were
	work    int64
	left    int // attempts
}

const (
	polishNodes    = 200 // starts that are tried for one timetable
	wanderAttempts = 600 // the same, where it is not the best
	polishPerRoll  = 100 // moves that are tried to better one plan, for each of its rolls
)

// A change is what a batch might be instead.
type change struct {
	batch int
	to    spec
}

// polish betters the finish of the best plan, until nothing does or stop says so.
func (sr *search) polish(pf *proofs, stop func() bool) {
	sr.take(sr.best)
	sr.polishOn(pf, polishPerRoll*len(sr.m.rolls), stop)
	sr.take(sr.best)
}

// polishOn betters the finish of the plan in the state.
func (sr *search) polishOn(pf *proofs, attempts int, stop func() bool) {
	if pf.bd.alone == nil { // there was no time to look at rolls alone
		return
	}
	clusterOf := make([]int, len(sr.m.sess))
	for k, c := range pf.bd.clusters(nil) {
		for _, s := range c.sessions {
			clusterOf[s] = k
		}
	}
	for better := true; better && !stop(); {
		w := sr.s.value()
		if w[finish] <= pf.bound(&w, finish) {
			return
		}
		best := sr.bestWorth
		po := polish{sr: sr, bd: pf.bd, stop: stop, plan: sr.batches(), worth: w, cluster: clusterOf, left: attempts}
		if better = len(po.plan) > 0 && po.sooner(); sr.bestWorth != best {
			sr.take(sr.best)
		}
		if pf.rx != nil {
			pf.rx.spent += po.work
		}
		sr.aim, sr.s.dryBy, sr.s.hangBy = 0, 0, hangFast
	}
}

// wanderSteps is how many steps are taken from the best plan, to others as good but
// for the finish, before one of them is polished.
const wanderSteps = 15

// wander looks for a plan that finishes sooner near others that are as good above. It
// says whether it ended by itself.
func (sr *search) wander(pf *proofs, steps int64, stop func() bool) bool {
	for end := sr.step + steps; sr.step < end && !stop(); {
		before := sr.bestWorth
		if before[finish] <= pf.bound(&before, finish) {
			return true
		}
		sr.settleDown()
		for i := range sr.past {
			sr.past[i][finish] = never
		}
		if !sr.run(min(wanderSteps, end-sr.step), func(w *worth) bool { return *w != before }) {
			return false
		}
		if sr.bestWorth != before {
			sr.polish(pf, stop)
			if !sameAbove(&sr.bestWorth, &before, finish) {
				return true
			}
			continue
		}
		sr.ruinNothing()
		if sr.rebuild(byDue, false); sr.s.value() != sr.bestWorth {
			if w := sr.s.value(); sameAbove(&w, &before, finish) {
				sr.polishOn(pf, wanderAttempts, stop)
			}
		}
	}
	return !sr.expired()
}

// sooner looks for one move that makes the plan better, and makes it.
func (po *polish) sooner() bool {
	s := po.sr.s
	po.last = make([]int64, len(po.sr.m.rolls))
	for _, b := range po.plan {
		po.specs = append(po.specs, po.specOf(b))
	}
	last := slices.MaxFunc(po.plan, func(a, b *batch) int { return cmp.Compare(s.dry(a), s.dry(b)) })
	var here []int // the day's batches, those that are dry last first
	for i, b := range po.plan {
		if po.cluster[b.sess] == po.cluster[last.sess] {
			here = append(here, i)
		}
	}
	slices.SortStableFunc(here, func(a, b int) int { return cmp.Compare(s.dry(po.plan[b]), s.dry(po.plan[a])) })
	if po.with(change{here[0], po.specs[here[0]]}) { // as they are, in another order
		return true
	}
	for _, way := range []func(i int) bool{po.elsewhere, po.otherwise, po.giveAny, po.swapAny, po.trade, po.giveOn} {
		for _, i := range here {
			if po.over() || way(i) {
				return !po.over()
			}
		}
	}
	return false
}

// over says that the plan has had its part of the work.
func (po *polish) over() bool { return po.left < 0 || po.stop() }

// fits says that a run's reels and film fit.
func (po *polish) fits(sp *spec) bool {
	b := po.sr.s.fresh(sp.sess, sp.set)
	defer po.sr.s.release(b)
	b.rolls = append(b.rolls, sp.rolls...)
	return po.sr.m.shape(b) == ""
}

// specOf is a batch without its times, which is to be no later for any of its rolls.
func (po *polish) specOf(b *batch) spec {
	m := po.sr.m
	for i, r := range b.rolls {
		po.last[r] = never
		if ro := &m.rolls[r]; ro.due < never {
			po.last[r] = ro.due + days(b.end+m.cabs[b.cabs[i]].dry, ro.due)*day - ro.fastest
		}
	}
	sp := spec{sess: b.sess, set: b.set, rolls: b.rolls}
	po.limit(&sp)
	return sp
}

// limit has a run end before any of its rolls is later than it was.
func (po *polish) limit(sp *spec) {
	sp.last = never
	for _, r := range sp.rolls {
		sp.last = min(sp.last, po.last[r])
	}
}

// with makes a change of some batches, tries it, and takes it back unless it stands.
func (po *polish) with(changes ...change) bool {
	var was []spec
	po.moved = po.moved[:0]
	for _, c := range changes {
		was = append(was, po.specs[c.batch])
		po.specs[c.batch] = c.to
		po.moved = append(po.moved, c.batch)
	}
	if po.attempt() {
		return true
	}
	for i, c := range changes {
		po.specs[c.batch] = was[i]
	}
	return false
}

// attempt gives the days that are concerned new timetables, and says whether the plan
// is better then. A kit that other days depend on is mixed when it was.
func (po *polish) attempt() bool {
	sr, s, m := po.sr, po.sr.s, po.sr.m
	po.left--
	var anew []int // clusters
	for _, i := range po.moved {
		anew = append(anew, po.cluster[po.plan[i].sess], po.cluster[po.specs[i].sess])
	}
	slices.Sort(anew)
	anew = slices.Compact(anew)
	needed := make([]bool, len(m.sets)) // by what stays
	for _, b := range po.plan {
		needed[b.set] = needed[b.set] || !slices.Contains(anew, po.cluster[b.sess])
	}
	s.reset()
	to := make([][]spec, len(anew))
	for i, b := range po.plan {
		sp := po.specs[i]
		if !slices.Contains(anew, po.cluster[b.sess]) || b.mixes && needed[b.set] {
			if sp.sess != b.sess || sp.set != b.set || !slices.Equal(sp.rolls, b.rolls) {
				return false
			}
			s.load(b.clone())
			continue
		}
		if len(sp.rolls) == 0 {
			continue
		}
		sp.last = min(sp.last, m.sess[sp.sess].end-m.tanks[m.sess[sp.sess].tank].clean)
		at := slices.Index(anew, po.cluster[sp.sess])
		to[at] = append(to[at], sp)
	}
	sr.aim, s.dryBy, s.hangBy = po.worth[finish]-1, po.worth[finish]-1, hangDue
	for k, specs := range to {
		ok, nodes := sr.timetable(specs, polishNodes, func() bool {
			w := s.value()
			return k < len(to)-1 || w.less(&po.worth)
		})
		if po.work += int64(nodes)*2_000 + 20_000; !ok {
			return false
		}
	}
	w := s.value()
	if sr.keep(w); w.less(&sr.bestWorth) {
		sr.tighten()
	}
	return true
}
