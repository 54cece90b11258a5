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

// countedAtLast does so even if time is over, where it takes none to speak of.
func (pf *proofs) countedAtLast(w *worth) {
	if len(pf.bd.m.rolls) <= countable {
		defer func(expired func() bool) { pf.bd.expired = expired }(pf.bd.expired)
		pf.bd.expired = nil
	}
	pf.counted(w)
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
		b, leaf := pf.rx.prove(pf.endGoal(w, w[finish]-1), splits, land, expired)
		if b > w[runs] {
			pf.say(w, finish, w[finish])
		}
		return leaf
	}
	b, leaf := pf.rx.prove(goal{level: level, worth: *w, upTo: level, target: w[level]}, splits, land, expired)
	pf.say(w, level, b)
	return leaf
}

const (
	climbs      = 4   // in how many steps the finish is proved to be no sooner
	climbSplits = 200 // in all of them
)

// climb proves of ever later instants that not all film can be dry by then, until it
// comes to one of which it cannot: what is learnt of splits at one tells what to split by
// at the next.
func (pf *proofs) climb(w *worth, expired func() bool) {
	if w[finish] <= pf.bound(w, finish) || expired() || !pf.relaxed() {
		return
	}
	low := pf.bound(w, finish)
	splits := climbSplits
	for step := range int64(climbs + 1) {
		by := low + (w[finish]-1-low)*step/climbs
		b, _ := pf.rx.proveIn(pf.endGoal(w, by), &splits, nil, expired)
		if b <= w[runs] {
			return
		}
		if pf.say(w, finish, min((by/pf.rx.grain+1)*pf.rx.grain, w[finish])); splits <= 0 {
			return
		}
	}
}

// endGoal asks whether film in as few runs can all be dry by an instant.
func (pf *proofs) endGoal(w *worth, by int64) goal {
	return goal{level: runs, worth: *w, upTo: runs, finish: by / pf.rx.grain * pf.rx.grain, target: w[runs] + 1}
}

// sooner is a program of plans that finish a little sooner; nil if there are none.
func (pf *proofs) sooner(w *worth, expired func() bool) *master {
	if expired() || !pf.relaxed() {
		return nil
	}
	b, ma := pf.rx.prove(pf.endGoal(w, w[finish]-1), 0, nil, expired)
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
		return pf.rx.prove(pf.endGoal(w, at*grain), 0, nil, expired)
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

// ends bounds the finish by what is held to the last days, for each choice of kits
// that there is.
func (pf *proofs) ends(w *worth) {
	bd, rx := pf.bd, pf.rx
	inTime(func() {
		must := bd.mustPlace(w)
		least := int64(never)
		for _, usable := range rx.usable(w) {
			least = min(least, bd.lastBound(must, usable, pf.bound(w, finish), w[finish]))
		}
		if least < never {
			pf.say(w, finish, min(least, w[finish]))
		}
	})
}
