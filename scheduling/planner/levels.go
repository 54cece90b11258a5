package planner

// workPerStep is how much a relaxation may work for each step of the search.
const workPerStep = 700_000

// size is what solving one linear program takes, about.
func (rx *relaxation) size() int64 {
	n := int64(len(rx.types) + len(rx.sess) + len(rx.sets) + len(rx.rows))
	return pivotsPerRow * n * n * n / 2
}

// landings is how often a level's relaxation is turned into a plan at most.
const landings = 7

// improve works down the levels: each is bounded by the relaxation, the
// relaxation's optimum turned into a plan, and that improved by steps, until
// the level is proved or has had its share of the steps. It says whether it
// ended by itself.
func (sr *search) improve(pf *proofs, limit int64, upTo int) bool {
	im := improving{sr: sr, pf: pf, limit: limit, end: sr.step + limit, upTo: upTo}
	sr.bounds = pf.bd
	pf.counted(&sr.bestWorth)
	sr.sweeps(pf)
	pf.counted(&sr.bestWorth)
	if im.leap(); sr.expired() {
		return false
	}
	// At first each level has little, so that all are good; then those that are not
	// proved have what is left.
	for _, im.part = range []int64{6, 2} {
		for im.level = displaced; im.level < upTo; {
			if sr.expired() || !im.once() {
				return false
			}
		}
		if sr.within || im.part == 2 || pf.all(&sr.bestWorth) == sr.bestWorth {
			break
		}
	}
	return !sr.expired()
}

// improving is how far an improvement has come.
type improving struct {
	sr         *search
	pf         *proofs
	limit, end int64 // steps in all, and after which none is left
	upTo       int
	level      int
	part       int64 // of the work that is left a level may use one in so many
	rationed   bool
	enough     int64 // work after which the level has had its part
}

// leap makes a plan of the fewest runs at once, as if what is proved of the levels
// above could be had: mostly it can.
func (im *improving) leap() {
	sr, pf := im.sr, im.pf
	if im.upTo <= runs || sr.bestWorth[displaced] > pf.bound(&sr.bestWorth, displaced) || !pf.relaxed() {
		return
	}
	at := sr.bestWorth
	im.part = 6
	for im.level = displaced; im.level < runs; im.level++ {
		im.rationed = false
		pf.prove(&at, im.level, im.stop)
		if at[im.level] = pf.bound(&at, im.level); im.stop() {
			return
		}
	}
	if sameAbove(&at, &sr.bestWorth, runs) {
		return
	}
	im.rationed = false
	at[runs] = int64(2 * len(sr.m.rolls)) // more than any plan has
	if ma := pf.prove(&at, runs, im.stop); ma != nil && !im.stop() {
		sr.landIn(pf, ma, runs, im.stop)
	}
}

// stop says that the level has had its part of the work, about as long as the
// steps would take in all, or that time is over.
func (im *improving) stop() bool {
	pf := im.pf
	if im.sr.expired() || pf.rx == nil {
		return im.sr.expired()
	}
	if !im.rationed {
		im.rationed, im.enough = true, workPerStep*im.limit+pf.rx.size()
		if im.level < im.upTo-1 {
			im.enough = pf.rx.spent + max(im.enough-pf.rx.spent, 0)/im.part
		}
	}
	return pf.rx.spent > im.enough
}

// proved says that the best plan is as good at the level as any.
func (im *improving) proved() bool {
	w := &im.sr.bestWorth
	return w[im.level] <= im.pf.bound(w, im.level)
}

// once works on one level, and goes on to the next, or to the first if the plan
// became better above. It says whether that ended by itself.
func (im *improving) once() bool {
	sr, pf, level := im.sr, im.pf, im.level
	before := sr.bestWorth
	im.rationed = false
	share := max((im.end-sr.step)/int64(2*(im.upTo-level)), 1)
	var ma *master
	at := worth{}
	tries := landings
	if im.part > 2 && !sr.within {
		tries = firstLandings
	}
	for try := 0; try < tries && sr.step < im.end && share > 0 && sameAbove(&sr.bestWorth, &before, level); try++ {
		if ma == nil || sr.bestWorth != at && level >= finish {
			ma, at = pf.prove(&sr.bestWorth, level, im.stop), sr.bestWorth
		}
		if im.proved() {
			break
		}
		if level == finish && !sr.within { // mostly little is to be moved there
			sr.polish(pf, im.stop)
			if im.proved() {
				break
			}
		}
		im.land(ma, try)
		if im.proved() || !sameAbove(&sr.bestWorth, &before, level) {
			break
		}
		if !im.steps(try, &share, &before) {
			return false
		}
	}
	if !sameAbove(&sr.bestWorth, &before, level) {
		im.level = displaced // better above: what is below is another problem
		pf.counted(&sr.bestWorth)
		return true
	}
	pf.counted(&sr.bestWorth)
	pf.prove(&sr.bestWorth, level, im.stop)
	im.level++
	return true
}

// steps improves the best plan by part of the level's steps, and says whether that
// ended by itself.
func (im *improving) steps(try int, share *int64, before *worth) bool {
	sr, pf, level := im.sr, im.pf, im.level
	steps := min(max(*share/8, 50), im.end-sr.step)
	*share -= steps
	if level == finish {
		steps = min(finishSteps*steps, im.end-sr.step)
	} else if try%4 < 3 {
		sr.bd.soft = sr.m.softness([]int64{4, 12, 1}[try%4])
	}
	if level == finish && !sr.within && len(sr.m.rolls) >= windowRolls {
		ok := sr.wander(pf, steps, im.stop)
		sr.past = sr.past[:0]
		return ok || !sr.expired()
	}
	sr.settleDown()
	ok := sr.run(steps, func(w *worth) bool { return !sameAbove(w, before, level) || w[level] <= pf.bound(w, level) })
	sr.bd.soft, sr.past = nil, sr.past[:0]
	return ok
}

// finishSteps is how many times the steps of other levels the finish gets: they cost
// less than plans of relaxations.
const finishSteps = 4

// firstLandings is how often at first.
const firstLandings = 2

// land makes plans of the level's relaxation, and tries to prove more of it.
func (im *improving) land(ma *master, try int) {
	sr, level := im.sr, im.level
	if level == finish {
		if leaf := im.deepen(try); leaf != nil {
			ma = leaf
		} else if try%2 == 1 {
			ma = im.pf.sooner(&sr.bestWorth, im.stop)
		}
		if im.proved() {
			return
		}
	}
	if level == chemistry {
		if leaf := im.deepen(try); leaf != nil {
			ma = leaf
		}
		if ma != nil && !im.proved() && !im.stop() {
			sr.landIn(im.pf, ma, level, im.stop)
		}
		return
	}
	if ma != nil && !im.stop() {
		sr.landIn(im.pf, ma, level, im.stop)
	}
	if level == finish || im.proved() {
		return
	}
	if leaf := im.deepen(try); leaf != nil && !im.proved() {
		sr.landIn(im.pf, leaf, level, im.stop)
	}
}

// mostDives is how often a plan of a relaxation is begun.
const mostDives = 4

// How often a level's goal is split after a landing, each time twice as often: at first
// few times, so that all levels are good, more where rolls may be left out or late for it,
// and in the end as long as there is time.
const (
	windowSplits = 20
	firstSplits  = 10
	earlySplits  = 40
	lastSplits   = 320
)

// farOff is from how many runs too many a better plan is sought before a proof, at first.
const farOff = 3

// deepen splits the level's goal to prove more of it.
func (im *improving) deepen(try int) *master {
	sr, pf, w := im.sr, im.pf, im.sr.bestWorth
	if sr.within {
		if im.level != chemistry || try > 0 {
			return nil
		}
		return pf.deepen(&w, im.level, windowSplits, nil, im.stop)
	}
	splits := firstSplits
	switch {
	case try > 2, im.level == lateness && try == 0:
		return nil
	case im.part == 2:
		if splits = lastSplits; im.level == finish {
			pf.climb(&w, im.stop)
		}
	case im.level <= lateness:
		splits = earlySplits
	case im.level == runs && w[runs] > pf.bound(&w, runs)+farOff:
		return nil
	}
	return pf.deepen(&w, im.level, splits<<try, func(ma *master) bool {
		if sr.land(pf, ma, im.stop) {
			sr.accept()
		}
		return sr.bestWorth != w
	}, im.stop)
}

// landIn makes a plan of a relaxation, and betters it window by window.
func (sr *search) landIn(pf *proofs, ma *master, level int, stop func() bool) {
	if level > chemistry {
		ma = ma.fullest(stop)
	}
	landed := false
	for n := 0; n < mostDives && !landed && !stop(); n++ {
		if landed = sr.land(pf, ma, stop); landed {
			sr.accept()
		}
	}
	if sr.within || len(sr.m.rolls) < windowRolls {
		return
	}
	if landed {
		sr.windows(pf, level+1, stop)
	}
	// The best plan too, if it is another.
	looked := level == sr.seenLevel && (landed && sr.worth == sr.bestWorth || sr.seenWorth == sr.bestWorth)
	if !looked && sr.bestWorth[level] > pf.bound(&sr.bestWorth, level) {
		sr.take(sr.best)
		sr.windows(pf, level+1, stop)
	}
	sr.seenWorth, sr.seenLevel = sr.bestWorth, level
}

// sameAbove says that two worths are equal at the levels above one.
func sameAbove(a, b *worth, level int) bool {
	for i := range level {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}
