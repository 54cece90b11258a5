package planner

import "slices"

// sweepParts is how often a part of a plan is swept again where rolls are left
// out that could be placed.
const sweepParts = 600

// sweepAgain takes down what some sessions hold and sweeps those again, with what
// is left out, and keeps what is no worse.
func (sr *search) sweepAgain(rx *relaxation, stand []spec) {
	if rx.allPlaced(sr) {
		return
	}
	var styles []*sweep
	for _, style := range sweepStyles {
		sw := sr.newSweep(rx, style)
		sw.stand = stand
		styles = append(styles, sw)
	}
	now, worth := slices.Clone(sr.best), sr.bestWorth
	for range sweepParts {
		if sr.expired() {
			return
		}
		sw := styles[sr.rng.IntN(len(styles))]
		for t := range sw.over {
			sw.over[t] = sr.rng.Int64N(sweepUnit)
		}
		sw.part(now, sw.some())
		w := sr.s.value()
		if worth.less(&w) {
			continue
		}
		now, worth = sr.batches(), w
		if w.less(&sr.bestWorth) {
			sr.keep(w)
			sr.tighten()
		}
	}
}

// allPlaced says that the best plan leaves no roll out that could be placed.
func (rx *relaxation) allPlaced(sr *search) bool {
	placed := 0
	for _, b := range sr.best {
		placed += len(b.rolls)
	}
	return placed >= int(rx.rolls)
}

// some are sessions to sweep again: a few, or all that overlap.
func (sw *sweep) some() []int {
	rng := sw.sr.rng
	from := sw.order[rng.IntN(len(sw.order))]
	few := rng.IntN(3) > 0
	var out []int
	for _, i := range sw.order {
		if i == from || sw.cluster[i] == sw.cluster[from] && (!few || rng.IntN(3) == 0) || few && rng.IntN(2*len(sw.order)) == 0 {
			out = append(out, i)
		}
	}
	return out
}

// part makes a plan of another, with some sessions filled anew, and leaves it in
// the state.
func (sw *sweep) part(plan []*batch, sessions []int) {
	sr, rx := sw.sr, sw.rx
	s, m := sr.s, sr.m
	free := make([]bool, len(m.sess))
	for _, i := range sessions {
		free[rx.sess[i].index] = true
	}
	clear(s.mixFrom)
	s.reset()
	s.hangBy = hangFast
	clear(sw.given)
	rx.pr.refill()
	down := m.freed(plan, func(b *batch) bool { return free[b.sess] })
	for i, b := range plan {
		if !down[i] {
			s.load(b.clone())
			sw.take(b.rolls)
		}
	}
	for k := range sw.stand {
		sp := &sw.stand[k]
		if free[sp.sess] && sw.fixed[sp.sess] && !slices.ContainsFunc(sp.rolls, func(r int) bool { return sw.given[r] }) && sr.settle(sp) {
			sw.take(sp.rolls)
		}
	}
	sw.through(sessions)
}
