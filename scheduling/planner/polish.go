package planner

import (
	"cmp"
	"slices"
)

// What is dry last is in few sessions, and mostly little has to be moved for it to be
// dry sooner. A polish goes through such moves one by one: the runs of that day in
// another order, one of them in another session, one of its rolls in another run. The
// days it concerns get new timetables, and the first that makes the plan better stands.
type polish struct {
	sr      *search
	stop    func() bool
	plan    []*batch
	worth   worth
	cluster []int  // by session
	specs   []spec // the plan as it might be
	moved   []int  // batches that are not as they were
	work    int64
	left    int // attempts
}

const (
	polishNodes    = 200 // starts that are tried for one timetable
	polishAttempts = 600 // moves that are tried to better one plan
)

// A change is what a batch might be instead.
type change struct {
	batch int
	to    spec
}

// polish betters the finish of the best plan, until nothing does or stop says so.
func (sr *search) polish(pf *proofs, stop func() bool) {
	clusterOf := make([]int, len(sr.m.sess))
	for k, c := range pf.bd.clusters(nil) {
		for _, s := range c.sessions {
			clusterOf[s] = k
		}
	}
	for better := true; better && !stop() && sr.bestWorth[finish] > pf.bound(&sr.bestWorth, finish); {
		sr.take(sr.best)
		po := polish{sr: sr, stop: stop, plan: sr.batches(), worth: sr.bestWorth, cluster: clusterOf, left: polishAttempts}
		better = len(po.plan) > 0 && po.sooner()
		if pf.rx != nil {
			pf.rx.spent += po.work
		}
		sr.aim, sr.s.dryBy, sr.s.hangBy = 0, 0, hangFast
	}
	sr.take(sr.best)
}

// sooner looks for one move that makes the plan better, and makes it.
func (po *polish) sooner() bool {
	s, m := po.sr.s, po.sr.m
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
	for _, i := range here {
		for sess := range m.sess {
			to := po.specs[i]
			if sess == to.sess || slices.ContainsFunc(to.rolls, func(r int) bool { return !m.rolls[r].open[sess] }) {
				continue
			}
			if to.sess = sess; po.over() || po.with(change{i, to}) {
				return !po.over()
			}
		}
	}
	for _, i := range here {
		for _, r := range po.plan[i].rolls {
			if po.over() || po.give(i, r) {
				return !po.over()
			}
		}
	}
	return false
}

// over says that the plan has had its part of the work.
func (po *polish) over() bool { return po.left < 0 || po.stop() }

// give moves a roll of one batch to another.
func (po *polish) give(i, r int) bool {
	m := po.sr.m
	for j, b := range po.plan {
		if j == i || !m.rolls[r].open[b.sess] || b.class != m.rolls[r].class && !m.share(b.class, m.rolls[r].class) {
			continue
		}
		less, more := po.specs[i], po.specs[j]
		less.rolls = slices.DeleteFunc(slices.Clone(less.rolls), func(o int) bool { return o == r })
		more.rolls = append(slices.Clone(more.rolls), r)
		if po.over() || po.fits(&more) && po.with(change{i, less}, change{j, more}) {
			return !po.over()
		}
	}
	return false
}

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
	sp := spec{sess: b.sess, set: b.set, rolls: b.rolls, last: never}
	for i, r := range b.rolls {
		if ro := &m.rolls[r]; ro.due < never {
			sp.last = min(sp.last, ro.due+days(b.end+m.cabs[b.cabs[i]].dry, ro.due)*day-ro.fastest)
		}
	}
	return sp
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
			if sp.sess != b.sess || len(sp.rolls) != len(b.rolls) {
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
	sr.keep(s.value())
	sr.tighten()
	return true
}
