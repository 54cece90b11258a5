package planner

import "slices"

// A window is part of a plan that is planned anew by itself, all else standing:
// a problem of its own, small enough to be nearly solved. Going from window to
// window betters a plan where steps no longer do (Shaw 1998).

// windowSteps is how many steps of improvement a window gets.
const windowSteps = 100

// windowRolls is from how many rolls a plan is looked at through windows.
const windowRolls = 30

// window plans anew what some batches of a plan hold, with the rolls left out,
// and gives the plan that came of it; nil where it is no better. Levels after
// the last given are not looked at.
func (sr *search) window(plan []*batch, free []bool, upTo int, spent *int64) []*batch {
	m := sr.m
	p, index := m.without(plan, free)
	sub := newSearch(compile(p))
	sub.expired, sub.within = sr.expired, true
	at := make(map[int]int, len(index)) // by roll: its number there
	for i, r := range index {
		at[r] = i
	}
	sub.s.reset()
	for i, b := range plan {
		if free[i] {
			c := b.clone()
			for k, r := range c.rolls {
				c.rolls[k] = at[r]
			}
			sub.s.load(c)
		}
	}
	sub.record()
	before := sub.bestWorth
	sub.startFrom(sub.best)
	sub.worth = before
	bd := newBounds(sub.m, sub.expired)
	bd.quick = true // the relaxation says more
	pf := bd.proofs(windowSteps)
	sub.improve(pf, windowSteps, upTo)
	*spent += sub.step * workPerStep / 4
	if pf.rx != nil {
		*spent += pf.rx.spent
	}
	if sameAbove(&sub.bestWorth, &before, upTo) || !sub.bestWorth.less(&before) {
		return nil
	}
	var out []*batch
	for i, b := range plan {
		if !free[i] {
			out = append(out, b)
		}
	}
	for _, b := range sub.best {
		for k, r := range b.rolls {
			b.rolls[k] = index[r]
		}
		out = append(out, b)
	}
	return out
}

// without is the problem with some batches of a plan frozen and the others to
// plan anew; and which rolls it has.
func (m *model) without(plan []*batch, free []bool) (*Problem, []int) {
	q := *m.p
	q.Search = Search{Seed: m.p.Search.Seed}
	frozen := make([]bool, len(m.rolls))
	q.Frozen = slices.Clip(q.Frozen)
	for i, b := range plan {
		if free[i] {
			continue
		}
		f := FrozenBatch{Batch: m.batch(b, "")}
		for _, r := range b.rolls {
			frozen[r] = true
			f.Films = append(f.Films, m.p.Rolls[r])
		}
		q.Frozen = append(q.Frozen, f)
	}
	q.Rolls = nil
	var index []int
	keep := make(map[string]bool, len(m.rolls))
	for i := range m.p.Rolls {
		if !frozen[i] {
			q.Rolls = append(q.Rolls, m.p.Rolls[i])
			index = append(index, i)
			keep[m.p.Rolls[i].ID] = true
		}
	}
	q.Pins, q.Bans = holdsOf(m.p.Pins, keep), holdsOf(m.p.Bans, keep)
	return &q, index
}

// A view is what a window looks at: two clusters of sessions that overlap, or one
// process on all days.
type view struct {
	clusters [2]int
	process  int // −1: all
	tried    int // when last
}

// windows goes through all views, and plans what each shows anew, until none
// betters the plan; it makes what comes of it the current plan.
func (sr *search) windows(pf *proofs, upTo int, stop func() bool) {
	var clusters [][]int
	for _, c := range pf.rx.clusters {
		var sessions []int
		for _, i := range c {
			sessions = append(sessions, pf.rx.sess[i].index)
		}
		clusters = append(clusters, sessions)
	}
	plan := sr.batches()
	views := sr.m.views(plan, len(clusters))
	changed := make([]int, len(clusters)) // when
	now := 1
	for more := true; more && !stop(); {
		more = false
		last := -1 // the cluster that finishes last
		if upTo == finish+1 && sameAbove(&sr.worth, &sr.bestWorth, finish) {
			last = sr.m.lastOf(plan, clusters)
		}
		sr.rng.Shuffle(len(views), func(i, j int) { views[i], views[j] = views[j], views[i] })
		for v := range views {
			vw := &views[v]
			a, b := vw.clusters[0], vw.clusters[1]
			since := max(changed[a], changed[b])
			if vw.process >= 0 {
				since = slices.Max(changed)
			} else if last >= 0 && a != last && b != last {
				continue
			}
			if vw.tried > 0 && since <= vw.tried || stop() {
				continue
			}
			now++
			vw.tried = now
			free := sr.m.freed(plan, func(at *batch) bool {
				if vw.process >= 0 {
					return sr.m.class[at.class].process == vw.process
				}
				return slices.Contains(clusters[a], at.sess) || slices.Contains(clusters[b], at.sess)
			})
			better := sr.window(plan, free, upTo, &pf.rx.spent)
			if better == nil {
				continue
			}
			plan, more = better, true
			for c := range changed {
				if vw.process >= 0 || c == a || c == b {
					changed[c] = now
				}
			}
			sr.take(plan)
			if sr.bestWorth[upTo-1] <= pf.bound(&sr.bestWorth, upTo-1) {
				return
			}
		}
	}
}

// views are all there are of a plan.
func (m *model) views(plan []*batch, clusters int) []view {
	var out []view
	for a := range clusters {
		for b := range a {
			out = append(out, view{clusters: [2]int{a, b}, process: -1})
		}
	}
	for p := range m.processes {
		if slices.ContainsFunc(plan, func(b *batch) bool { return m.class[b.class].process == p }) && clusters > 0 {
			out = append(out, view{process: p})
		}
	}
	return out
}

// lastOf is the cluster of the batch whose film is dry last.
func (m *model) lastOf(plan []*batch, clusters [][]int) int {
	sess, last := -1, int64(-1)
	for _, b := range plan {
		for _, c := range b.cabs {
			if dry := b.end + m.cabs[c].dry; dry > last {
				sess, last = b.sess, dry
			}
		}
	}
	return slices.IndexFunc(clusters, func(c []int) bool { return slices.Contains(c, sess) })
}

// freed says which batches of a plan are shown and may be planned anew: a kit that
// other batches depend on stays mixed when it was.
func (m *model) freed(plan []*batch, shown func(*batch) bool) []bool {
	free := make([]bool, len(plan))
	needed := make([]bool, len(m.sets))
	for i, b := range plan {
		if free[i] = shown(b); !free[i] {
			needed[b.set] = true
		}
	}
	for i, b := range plan {
		free[i] = free[i] && !(b.mixes && needed[b.set])
	}
	return free
}

// batches are copies of those of the state.
func (sr *search) batches() []*batch {
	var out []*batch
	for _, b := range sr.s.batches {
		out = append(out, b.clone())
	}
	return out
}

// take makes batches the current plan, as they are.
func (sr *search) take(plan []*batch) {
	s := sr.s
	s.reset()
	clear(s.mixFrom)
	for _, b := range plan {
		if b.mixes {
			s.mixFrom[b.set] = b.start
		}
		s.load(b.clone())
	}
	w := s.value()
	sr.keep(w)
	if w.less(&sr.bestWorth) {
		sr.tighten()
	}
}
