package planner

import (
	"cmp"
	"math"
	"slices"
)

// deepen proves as much more of a goal, up to its target, as so many splits do. It
// gives the bound, and the last program that stood in the way of more, if any.
func (ma *master) deepen(splits *int, land func(*master) bool, expired func() bool) (int64, *master) {
	rx := ma.rx
	bound := rx.whole(ma)
	tr := &tree{splits: splits, land: land, expired: expired, learnt: rx.learntAt(ma.goal.level)}
	small := ma.trimmed(1.5)
	if ma.goal.level == chemistry {
		return tr.fill(small, rx.wasters(), ma.paid)
	}
	for bound < ma.goal.target {
		try := *small
		if try.goal.target = bound + 1; ma.goal.finish > 0 {
			try.goal.target = ma.goal.target // all or nothing
		}
		ok, leaf := tr.splitFilled(&try, rx.wasters(), ma.goal.worth[chemistry]-ma.paid)
		if !ok {
			return bound, leaf
		}
		bound = try.goal.target
	}
	return bound, nil
}

// A tree splits a goal and its halves. By which count it splits is learnt: a few
// that look well are tried, and how much both halves then cost is remembered
// (reliability branching: Achterberg, Koch and Martin 2005).
type tree struct {
	splits  *int
	expired func() bool
	learnt  map[countKey]*lesson
	// land, if any, makes a plan of a program of whole numbers, and says whether that
	// ends the search. Where it does not, the search goes on for others.
	land   func(*master) bool
	leaves int
	depth  int // of halves of halves
}

// mostDepth bounds how many programs are kept to be gone on with: those of a week of 80
// rolls take about a megabyte each.
const mostDepth = 80

// mostLeaves is how many programs of whole numbers are made plans of.
const mostLeaves = 6

// A lesson is by how much each half of splits by a count cost more: in sum, by how
// far the count was moved, and how often.
type lesson struct {
	sum, n [2]float64
}

func (rx *relaxation) learntAt(level int) map[countKey]*lesson {
	if rx.learnt[level] == nil {
		rx.learnt[level] = make(map[countKey]*lesson)
	}
	return rx.learnt[level]
}

// The halves of a split goal: of those with no more of a count than a whole number,
// and with more.
const (
	below = iota
	above
)

// halves are the rows of both halves of a split.
func (ma *master) halves(c cut) [2]resource {
	most := int64(math.Floor(c.value))
	return [2]resource{ma.rx.row(c.key, 1, most), ma.rx.row(c.key, -1, -most-1)}
}

const (
	trialsEach  = 1  // how many counts that nothing is known of are tried at a split
	trialsFirst = 6  // and at the first
	trialCost   = 60 // pivots
	leastGain   = 1e-3
)

// split proves that the goal is not below the target by splitting it and its
// halves. It says whether it is proved, and otherwise which program of whole
// numbers is below, if it came to one and is to be gone on with.
func (tr *tree) split(ma *master) (bool, *master) {
	if ma.rx.whole(ma) >= ma.goal.target {
		return true, nil
	}
	if tr.depth >= mostDepth {
		return false, nil
	}
	tr.depth++
	defer func() { tr.depth-- }()
	if ma.goal.finish > 0 {
		if cr, found := ma.crowd(); found {
			return tr.apart(ma, &cr)
		}
	}
	if mx, found := ma.unmixed(); found {
		return tr.mix(ma, &mx)
	}
	cuts := fractional(ma.counts())
	if len(cuts) == 0 && tr.land != nil {
		if _, whole := ma.wholes(); !whole {
			cuts = fractional(ma.finer())
		}
	}
	if len(cuts) == 0 {
		tr.leaves++
		if tr.land != nil && tr.leaves < mostLeaves && !tr.land(ma) {
			return false, nil
		}
		return false, ma
	}
	best, ok := tr.choose(ma, cuts)
	if !ok {
		return false, nil
	}
	halves := ma.halves(best)
	first := tr.likelier(best) // in case it can be had
	return tr.parts(2, func(k int) *master {
		i := [2]int{first, 1 - first}[k]
		half := ma.child(halves[i])
		half.solveOn(tr.expired)
		tr.learn(best, i, half.sx.objective()-ma.sx.objective())
		return half
	})
}

// parts proves that the goal is not below the target by its parts, which are made and
// solved one after another. It says what split does.
func (tr *tree) parts(n int, part func(k int) *master) (bool, *master) {
	proved := true
	for k := range n {
		if *tr.splits--; *tr.splits < 0 || tr.expired() {
			return false, nil
		}
		ok, leaf := tr.split(part(k))
		if !ok && (leaf != nil || tr.land == nil || *tr.splits <= 0 || tr.expired()) {
			return false, leaf
		}
		proved = proved && ok
	}
	return proved, nil
}

// solveOn solves a part of a goal from where the whole was left.
func (ma *master) solveOn(expired func() bool) {
	ma.generate(childPivots, childRounds, expired)
	ma.barMore(expired)
}

// apart proves that the goal is not below the target, given a crowd that the program has.
func (tr *tree) apart(ma *master, cr *crowd) (bool, *master) {
	proved := true
	without, with := cr.parts(ma.rx)
	for n, row := range without {
		if *tr.splits--; *tr.splits < 0 || tr.expired() {
			return false, nil
		}
		h := ma.child(row)
		h.solveOn(tr.expired)
		ok, leaf := tr.split(h)
		if !ok && (leaf != nil || tr.land == nil || *tr.splits <= 0 || tr.expired()) {
			return false, leaf
		}
		if proved = proved && ok; n == len(without)-1 {
			break
		}
		ma = ma.child(with[n])
		ma.generate(childPivots, childRounds, tr.expired)
		if ma.rx.whole(ma) >= ma.goal.target {
			break
		}
	}
	return proved, nil
}

// learn remembers what a half of a split costs more.
func (tr *tree) learn(c cut, half int, gain float64) {
	l := tr.learnt[c.key]
	if l == nil {
		l = &lesson{}
		tr.learnt[c.key] = l
	}
	l.sum[half] += max(gain, 0) / c.part(half)
	l.n[half]++
}

// part is by how far a half moves the count.
func (c cut) part(half int) float64 {
	part := c.value - math.Floor(c.value)
	if half == above {
		return 1 - part
	}
	return part
}

// expected is what a half of a split is expected to cost more.
func (tr *tree) expected(c cut, half int) float64 {
	l := tr.learnt[c.key]
	if l == nil || l.n[half] == 0 {
		return 0
	}
	return l.sum[half] / l.n[half] * c.part(half)
}

// likelier is the half that is expected to cost less, or else the nearer one.
func (tr *tree) likelier(c cut) int {
	if d := cmp.Or(cmp.Compare(tr.expected(c, above), tr.expected(c, below)), cmp.Compare(c.part(above), c.part(below))); d < 0 {
		return above
	}
	return below
}

// promise is what a split by a count is expected to be worth.
func (tr *tree) promise(c cut) float64 {
	if tr.learnt[c.key] == nil {
		return 0
	}
	return max(tr.expected(c, below), leastGain) * max(tr.expected(c, above), leastGain)
}

// choose finds the count to split by; false when time is over.
func (tr *tree) choose(ma *master, cuts []cut) (cut, bool) {
	slices.SortStableFunc(cuts, func(a, b cut) int { return cmp.Compare(tr.promise(b), tr.promise(a)) })
	var unknown []cut
	for _, c := range cuts {
		if tr.learnt[c.key] == nil {
			unknown = append(unknown, c)
		}
	}
	tries := trialsEach
	if len(unknown) == len(cuts) {
		tries = trialsFirst
	}
	for _, c := range spread(unknown, tries) {
		if *tr.splits <= 0 || tr.expired() {
			return cut{}, false
		}
		for i, row := range ma.halves(c) {
			t := ma.child(row)
			t.sx.solve(trialCost)
			tr.learn(c, i, t.sx.objective()-ma.sx.objective())
		}
	}
	return slices.MaxFunc(cuts, func(a, b cut) int {
		return cmp.Or(cmp.Compare(tr.promise(a), tr.promise(b)), cmp.Compare(b.key.sort, a.key.sort), cmp.Compare(a.far(), b.far()))
	}), true
}

// far is how far a count is from a whole number.
func (c cut) far() float64 { return math.Abs(c.value - math.Round(c.value)) }

// spread are so many of some cuts, of each sort in turn those farthest from whole.
func spread(cuts []cut, n int) []cut {
	bySort := make(map[int][]cut)
	for _, c := range cuts {
		bySort[c.key.sort] = append(bySort[c.key.sort], c)
	}
	for s := range bySort {
		slices.SortStableFunc(bySort[s], func(a, b cut) int { return cmp.Compare(b.far(), a.far()) })
	}
	var out []cut
	for i := 0; len(out) < n && i < len(cuts); i++ {
		for s := countProcess; s <= countAfter; s++ {
			if i < len(bySort[s]) && len(out) < n {
				out = append(out, bySort[s][i])
			}
		}
	}
	return out
}
