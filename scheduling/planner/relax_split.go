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
}

// mostLeaves is how many programs of whole numbers are made plans of.
const mostLeaves = 6

// A lesson is by how much the halves of splits by a count cost more.
type lesson struct {
	below, above float64 // in sum, by how far the count was moved
	n            float64
}

func (rx *relaxation) learntAt(level int) map[countKey]*lesson {
	if rx.learnt[level] == nil {
		rx.learnt[level] = make(map[countKey]*lesson)
	}
	return rx.learnt[level]
}

// A half is one half of a split goal.
type half struct {
	row resource
	ma  *master
}

// halves are both halves of a split, not solved yet.
func (ma *master) halves(c cut) [2]half {
	below := int64(math.Floor(c.value))
	return [2]half{{row: ma.rx.row(c.key, 1, below)}, {row: ma.rx.row(c.key, -1, -below-1)}}
}

const (
	trialsEach  = 2  // how many counts that nothing is known of are tried at a split
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
	if ma.goal.finish > 0 {
		if crowd, found := ma.crowd(); found {
			return tr.apart(ma, crowd)
		}
	}
	cuts := ma.fractional()
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
	gains := [2]float64{}
	for i := range halves {
		if *tr.splits--; *tr.splits < 0 || tr.expired() {
			return false, nil
		}
		h := &halves[i]
		h.ma = ma.child(h.row)
		h.ma.generate(childPivots, childRounds, tr.expired)
		h.ma.barMore(tr.expired)
		gains[i] = h.ma.sx.objective() - ma.sx.objective()
	}
	tr.learn(best, gains)
	if gains[1] < gains[0] {
		halves[0], halves[1] = halves[1], halves[0] // the likelier first, in case it can be had
	}
	proved := true
	for i := range halves {
		ok, leaf := tr.split(halves[i].ma)
		if !ok && (leaf != nil || tr.land == nil || *tr.splits <= 0 || tr.expired()) {
			return false, leaf
		}
		proved = proved && ok
		halves[i].ma = nil
	}
	return proved, nil
}

// apart proves that the goal is not below the target, given that some rolls are not
// all where the program has them: either one of the first is not, or it is and one of
// the others is not.
func (tr *tree) apart(ma *master, crowd []cut) (bool, *master) {
	rx := ma.rx
	proved := true
	for n, c := range crowd {
		if *tr.splits--; *tr.splits < 0 || tr.expired() {
			return false, nil
		}
		h := ma.child(rx.row(c.key, 1, int64(c.value)-1))
		h.generate(childPivots, childRounds, tr.expired)
		h.barMore(tr.expired)
		ok, leaf := tr.split(h)
		if !ok && (leaf != nil || tr.land == nil || *tr.splits <= 0 || tr.expired()) {
			return false, leaf
		}
		if proved = proved && ok; n == len(crowd)-1 {
			break
		}
		ma = ma.child(rx.row(c.key, -1, -int64(c.value)))
		ma.generate(childPivots, childRounds, tr.expired)
		if rx.whole(ma) >= ma.goal.target {
			break
		}
	}
	return proved, nil
}

// learn remembers what both halves of a split cost more.
func (tr *tree) learn(c cut, gains [2]float64) {
	l := tr.learnt[c.key]
	if l == nil {
		l = &lesson{}
		tr.learnt[c.key] = l
	}
	part := c.value - math.Floor(c.value)
	l.below += max(gains[0], 0) / part
	l.above += max(gains[1], 0) / (1 - part)
	l.n++
}

// promise is what a split by a count is expected to be worth.
func (tr *tree) promise(c cut) float64 {
	l := tr.learnt[c.key]
	if l == nil {
		return 0
	}
	part := c.value - math.Floor(c.value)
	return max(l.below/l.n*part, leastGain) * max(l.above/l.n*(1-part), leastGain)
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
		var gains [2]float64
		for i, h := range ma.halves(c) {
			t := ma.child(h.row)
			t.sx.solve(trialCost)
			gains[i] = t.sx.objective() - ma.sx.objective()
		}
		tr.learn(c, gains)
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
		for s := countProcess; s <= countRolls; s++ {
			if i < len(bySort[s]) && len(out) < n {
				out = append(out, bySort[s][i])
			}
		}
	}
	return out
}
