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
	if pf.rx == nil && !pf.few {
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
	b, ma := pf.rx.prove(g, 0, expired)
	pf.say(w, level, b)
	if !expired() {
		pf.last[level] = proof{true, k, ma}
	}
	return ma
}

// deepen proves more of a level by splitting its goal, so often at most. It gives
// a program of what stood in the way, if it came to one.
func (pf *proofs) deepen(w *worth, level, splits int, expired func() bool) *master {
	if w[level] <= pf.bound(w, level) || level > finish || expired() || !pf.relaxed() {
		return nil
	}
	if level == finish { // any sooner?
		grain := pf.rx.grain
		b, leaf := pf.rx.prove(goal{level: runs, worth: *w, upTo: runs, finish: (w[finish] - 1) / grain * grain, target: w[runs] + 1}, splits, expired)
		if b > w[runs] {
			pf.say(w, finish, w[finish])
		}
		return leaf
	}
	b, leaf := pf.rx.prove(goal{level: level, worth: *w, upTo: level, target: w[level]}, splits, expired)
	pf.say(w, level, b)
	return leaf
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
		return pf.rx.prove(goal{level: runs, worth: *w, upTo: runs, finish: at * grain, target: w[runs] + 1}, 0, expired)
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
	end := sr.step + limit
	sr.bounds = pf.bd
	// The relaxation may work as long as the steps would take, about; a level has
	// its part of what is left, so that something is for those below.
	rationed, enough := -1, int64(0)
	stop := func(level int) func() bool {
		return func() bool {
			if sr.expired() || pf.rx == nil {
				return sr.expired()
			}
			if rationed != level {
				rationed, enough = level, workPerStep*limit+pf.rx.size()
				if level < upTo-1 {
					enough = pf.rx.spent + max(enough-pf.rx.spent, 0)*2/5
				}
			}
			return pf.rx.spent > enough
		}
	}
	pf.counted(&sr.bestWorth)
	for level := displaced; level < upTo; {
		if sr.expired() {
			return false
		}
		before, stop := sr.bestWorth, stop(level)
		share := max((end-sr.step)/int64(2*(upTo-level)), 1)
		var ma *master
		at := worth{}
		for try := 0; try < landings && sr.step < end && share > 0; try++ {
			if ma == nil || sr.bestWorth != at && level >= finish {
				ma, at = pf.prove(&sr.bestWorth, level, stop), sr.bestWorth
			}
			if sr.bestWorth[level] <= pf.bound(&sr.bestWorth, level) {
				break
			}
			sr.bd.soft = nil
			if level == finish && try == 0 { // the proof takes less than a better plan
				if leaf := sr.deepen(pf, level, try, stop); leaf != nil {
					ma = leaf
				}
				if sr.bestWorth[level] <= pf.bound(&sr.bestWorth, level) {
					break
				}
			}
			if ma != nil && !stop() {
				sr.landIn(pf, ma, level, stop)
			}
			if sr.bestWorth[level] <= pf.bound(&sr.bestWorth, level) {
				break
			}
			if leaf := sr.deepen(pf, level, try, stop); leaf != nil && sr.bestWorth[level] > pf.bound(&sr.bestWorth, level) {
				sr.landIn(pf, leaf, level, stop)
			}
			if sr.bestWorth[level] <= pf.bound(&sr.bestWorth, level) {
				break
			}
			if try%4 < 3 {
				sr.bd.soft = sr.m.softness([]int64{4, 12, 1}[try%4])
			}
			sr.past, sr.stale = sr.past[:0], 0
			steps := min(max(share/8, 50), end-sr.step)
			share -= steps
			ok := sr.run(steps, func(w *worth) bool { return !sameAbove(w, &before, level) || w[level] <= pf.bound(w, level) })
			sr.bd.soft = nil
			if !ok {
				return false
			}
			if !sameAbove(&sr.bestWorth, &before, level) {
				break
			}
		}
		if !sameAbove(&sr.bestWorth, &before, level) {
			level = displaced // better above: what is below is another problem
			pf.counted(&sr.bestWorth)
			continue
		}
		pf.counted(&sr.bestWorth)
		pf.prove(&sr.bestWorth, level, stop)
		level++
	}
	return !sr.expired()
}

// deepSplits is how often a level's goal is split after a landing, each time more.
const deepSplits = 40

// farOff is from how many runs too many a better plan is sought before a proof.
const farOff = 3

func (sr *search) deepen(pf *proofs, level, try int, stop func() bool) *master {
	if sr.within {
		if level == chemistry && try == 0 {
			return pf.deepen(&sr.bestWorth, level, 20, stop)
		}
		return nil
	}
	if try > 2 || level == lateness && try == 0 || level == runs && sr.bestWorth[runs] > pf.bound(&sr.bestWorth, runs)+farOff {
		return nil
	}
	return pf.deepen(&sr.bestWorth, level, deepSplits<<try, stop)
}

// landIn makes a plan of a relaxation, and betters it window by window.
func (sr *search) landIn(pf *proofs, ma *master, level int, stop func() bool) {
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
