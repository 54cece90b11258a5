package planner

// proofs are the bounds of a problem's levels, each kept for the values above
// it that it was proved for.
type proofs struct {
	last   [6]proof // what was solved last of each level
	bd     *bounds
	rx     *relaxation // nil until it is needed, or when the problem has none
	few    bool        // the search is to do without
	known  map[proofKey]int64
	proved func()             // called when a bound is raised
	reach  map[proofKey]int64 // finishes that the relaxation reaches, in grains
}

// A proof is the last that the relaxation had to say of a level.
type proof struct {
	done bool
	of   proofKey
	ma   *master
}

type proofKey struct {
	level int
	above worth
}

// fewSteps is below how many steps a search is meant to be quicker than the
// relaxation is.
const fewSteps = 100

func (bd *bounds) proofs(steps int64) *proofs {
	return &proofs{bd: bd, few: steps < fewSteps, known: make(map[proofKey]int64), reach: make(map[proofKey]int64)}
}

// relaxed makes the relaxation when it is first needed; false when there is none.
func (pf *proofs) relaxed() bool {
	if pf.rx == nil && !pf.few && pf.bd.given == nil {
		inTime(func() { pf.rx = pf.bd.relax() })
		pf.few = pf.rx == nil
	}
	return pf.rx != nil
}

func keyOf(w *worth, level int) proofKey {
	k := proofKey{level: level}
	copy(k.above[:level], w[:level])
	return k
}

// bound is the best bound of a level known for plans of worth w.
func (pf *proofs) bound(w *worth, level int) int64 {
	return pf.known[keyOf(w, level)]
}

// learn keeps a bound.
func (pf *proofs) learn(w *worth, level int, bound int64) {
	if k := keyOf(w, level); bound > pf.known[k] {
		pf.known[k] = bound
	}
}

// say keeps a bound, and reports it if it is news.
func (pf *proofs) say(w *worth, level int, bound int64) {
	news := bound > pf.known[keyOf(w, level)]
	pf.learn(w, level, bound)
	if news && pf.proved != nil {
		pf.proved()
	}
}

// counted gives the bounds that counting alone proves.
func (pf *proofs) counted(w *worth) {
	for level, b := range pf.bd.all(w) {
		pf.learn(w, level, b)
	}
}

// all gives the bounds of the six levels of a plan of worth w.
func (pf *proofs) all(w *worth) [6]int64 {
	var out [6]int64
	for level := range out {
		out[level] = min(pf.bound(w, level), w[level])
	}
	return out
}

// prove works on the bound of one level by the relaxation, unless it is proved
// already; it gives the master that has it, if one was solved.
func (pf *proofs) prove(w *worth, level int, expired func() bool) *master {
	if w[level] <= pf.bound(w, level) || expired() || !pf.relaxed() {
		return nil
	}
	k := keyOf(w, level)
	if old := pf.last[level]; old.done && old.of == k {
		return old.ma // no more can be proved
	}
	if level == finish {
		if pf.ends(w); w[finish] <= pf.bound(w, finish) {
			return nil
		}
		ma := pf.proveFinish(w, expired)
		if !expired() && w[finish] > pf.bound(w, finish) {
			pf.last[level] = proof{true, k, ma}
		}
		return ma
	}
	g := goal{level: level, worth: *w, upTo: level, target: w[level]}
	if level == changes {
		g.finish = w[finish]
	}
	b, ma := pf.rx.prove(g, 0, nil, expired)
	pf.say(w, level, b)
	if !expired() {
		pf.last[level] = proof{true, k, ma}
	}
	return ma
}

// deepen proves more of a level by splitting its goal, so often at most; land, if
// any, makes plans of what is whole. It gives a program of what stood in the way, if
// it came to one.
func (pf *proofs) deepen(w *worth, level, splits int, land func(*master) bool, expired func() bool) *master {
	if w[level] <= pf.bound(w, level) || level > finish || expired() || !pf.relaxed() {
		return nil
	}
	if level == finish {
		b, leaf := pf.rx.prove(pf.soonerGoal(w), splits, land, expired)
		if b > w[runs] {
			pf.say(w, finish, w[finish])
		}
		return leaf
	}
	b, leaf := pf.rx.prove(goal{level: level, worth: *w, upTo: level, target: w[level]}, splits, land, expired)
	pf.say(w, level, b)
	return leaf
}

// soonerGoal asks whether as few runs can end any sooner.
func (pf *proofs) soonerGoal(w *worth) goal {
	grain := pf.rx.grain
	return goal{level: runs, worth: *w, upTo: runs, finish: (w[finish] - 1) / grain * grain, target: w[runs] + 1}
}

// sooner is a program of plans that finish a little sooner; nil if there are none.
func (pf *proofs) sooner(w *worth, expired func() bool) *master {
	if expired() || !pf.relaxed() {
		return nil
	}
	b, ma := pf.rx.prove(pf.soonerGoal(w), 0, nil, expired)
	if b > w[runs] {
		pf.say(w, finish, w[finish])
		return nil
	}
	return ma
}

// proveFinish narrows down when all film can be dry at the soonest; the master
// it gives is of a plan that may be.
func (pf *proofs) proveFinish(w *worth, expired func() bool) *master {
	k := keyOf(w, finish)
	grain := pf.rx.grain
	// In grains: proved not before low; nothing proves later than high.
	low, high := (pf.known[k]+grain-1)/grain, (w[finish]+grain-1)/grain
	if at, ok := pf.reach[k]; ok {
		high = min(high, at)
	}
	look := func(at int64) (int64, *master) {
		return pf.rx.prove(goal{level: runs, worth: *w, upTo: runs, finish: at * grain, target: w[runs] + 1}, 0, nil, expired)
	}
	var last *master
	for try := high - 1; low < high && !expired(); try = low + (high-low)/2 {
		b, ma := look(try)
		if b > w[runs] {
			low = try + 1
			pf.say(w, finish, min(low*grain, w[finish]))
		} else {
			last, high = ma, try
		}
	}
	if expired() {
		return nil
	}
	pf.reach[k] = high
	if last == nil && high*grain < w[finish] {
		_, last = look(high)
	}
	return last
}

// workPerStep is how much a relaxation may work for each step of the search.
const workPerStep = 400_000

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

// leap makes a plan of a late level's relaxation at once, as if what is proved of
// the levels above it could be had: mostly it can.
func (im *improving) leap() {
	sr, pf := im.sr, im.pf
	last := min(im.upTo-1, runs)
	if last != runs || sr.bestWorth[displaced] > pf.bound(&sr.bestWorth, displaced) || !pf.relaxed() {
		return
	}
	at := sr.bestWorth
	im.part = 6
	for im.level = displaced; im.level < last; im.level++ {
		im.rationed = false
		pf.prove(&at, im.level, im.stop)
		if at[im.level] = pf.bound(&at, im.level); im.stop() {
			return
		}
	}
	if sameAbove(&at, &sr.bestWorth, last) {
		return
	}
	im.rationed = false
	at[runs] = int64(2 * len(sr.m.rolls)) // more than any plan has
	if ma := pf.prove(&at, last, im.stop); ma != nil && !im.stop() {
		sr.landIn(pf, ma, last, im.stop)
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
		sr.bd.soft = nil
		im.land(ma, try)
		if im.proved() {
			break
		}
		if try%4 < 3 {
			sr.bd.soft = sr.m.softness([]int64{4, 12, 1}[try%4])
		}
		sr.past, sr.stale = sr.past[:0], 0
		steps := min(max(share/8, 50), im.end-sr.step)
		share -= steps
		ok := sr.run(steps, func(w *worth) bool { return !sameAbove(w, &before, level) || w[level] <= pf.bound(w, level) })
		sr.bd.soft = nil
		if !ok {
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

// firstLandings is how often at first.
const firstLandings = 2

// land makes plans of the level's relaxation, and tries to prove more of it.
func (im *improving) land(ma *master, try int) {
	sr, level := im.sr, im.level
	if level == finish && try > 0 {
		if leaf := im.deepen(try); leaf != nil {
			ma = leaf
		} else if try%2 == 1 {
			ma = im.pf.sooner(&sr.bestWorth, im.stop)
		}
		if im.proved() {
			return
		}
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

// deepSplits is how often a level's goal is split after a landing, each time more.
const deepSplits = 40

// farOff is from how many runs too many a better plan is sought before a proof.
const farOff = 3

// deepen splits the level's goal to prove more of it.
func (im *improving) deepen(try int) *master {
	sr, w := im.sr, &im.sr.bestWorth
	switch {
	case sr.within && (im.level != chemistry || try > 0):
		return nil
	case sr.within:
		return im.pf.deepen(w, im.level, deepSplits/2, nil, im.stop)
	case try > 2, im.level == lateness && try == 0, im.level == runs && w[runs] > im.pf.bound(w, runs)+farOff:
		return nil
	}
	before := *w
	return im.pf.deepen(&before, im.level, deepSplits<<try, func(ma *master) bool {
		sr.land(im.pf, ma, im.stop)
		sr.accept()
		return sr.bestWorth != before
	}, im.stop)
}

// landIn makes a plan of a relaxation, and betters it window by window.
func (sr *search) landIn(pf *proofs, ma *master, level int, stop func() bool) {
	if level > chemistry {
		ma = ma.fullest(stop)
	}
	sr.land(pf, ma, stop)
	sr.accept()
	if sr.within || len(sr.m.rolls) < windowRolls {
		return
	}
	sr.windows(pf, level+1, stop)
	// The best plan too, if it is another and was not looked at for this level.
	if sr.bestWorth[level] > pf.bound(&sr.bestWorth, level) && (sr.worth != sr.bestWorth || level != sr.seenLevel) && (sr.seenWorth != sr.bestWorth || level != sr.seenLevel) {
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
