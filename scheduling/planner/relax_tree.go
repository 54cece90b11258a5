package planner

import (
	"cmp"
	"math"
	"slices"
)

// What can be whole but is not in the optimum of a linear program splits its goal
// in two: there are no more than the whole number below, or no fewer than that
// above (Vanderbeck 2000, who branches on sums over contents as well). Each half is
// a program with one row more, solved on from the optimum of the whole; the goal's
// bound is the lesser of the two.

// The sorts of counts, those that decide most first.
const (
	countProcess = iota // runs of a process
	countFill           // rolls of an area by a set that wastes what is left
	countSession        // runs of a process in a session
	countLead           // runs of a lead in a session
	countRolls          // rolls of a type in a session
)

// A countKey names a count; what a and b are depends on the sort.
type countKey struct {
	sort int
	a, b int64
}

// counts are how many there are of all that is to be whole.
func (ma *master) counts() map[countKey]float64 {
	rx := ma.rx
	out := make(map[countKey]float64)
	for c := range rx.pool {
		col := ma.colOf(c)
		if col < 0 {
			continue
		}
		x := ma.sx.value(col)
		if x < 1e-7 {
			continue
		}
		co := &rx.pool[c]
		for _, l := range co.loads {
			lead := rx.sess[co.sess].offers[l.offer].lead
			process, n := int64(rx.leads[lead].process), x*float64(l.runs)
			out[countKey{countProcess, process, 0}] += n
			out[countKey{countSession, process, int64(co.sess)}] += n
			out[countKey{countLead, int64(lead), int64(co.sess)}] += n
		}
		for _, it := range co.items {
			n := x * float64(it.n)
			if rx.sets[it.set].waste > 0 {
				out[countKey{countFill, int64(it.set), rx.types[it.typ].area}] += n
			}
			out[countKey{countRolls, int64(it.typ), int64(co.sess)}] += n
		}
	}
	return out
}

// A cut is a count that is not whole.
type cut struct {
	key   countKey
	value float64
}

// fractional are the counts that are not whole, in a fixed order.
func (ma *master) fractional() []cut {
	var out []cut
	for k, v := range ma.counts() {
		if math.Abs(v-math.Round(v)) >= 0.01 {
			out = append(out, cut{k, v})
		}
	}
	slices.SortFunc(out, func(x, y cut) int {
		return cmp.Or(cmp.Compare(x.key.sort, y.key.sort), cmp.Compare(x.key.a, y.key.a), cmp.Compare(x.key.b, y.key.b))
	})
	return out
}

// row is the row of a count: no more of it than a number, or with a sign of −1 no
// less than its negative.
func (rx *relaxation) row(k countKey, sign, limit int64) resource {
	r := resource{cap: limit, kit: -1}
	for i := range rx.sess {
		if k.sort == countProcess || k.sort == countFill || int64(i) == k.b {
			r.sessions = append(r.sessions, i)
		}
	}
	switch k.sort {
	case countProcess, countSession:
		r.perRun = func(o *offer) int64 {
			if int64(rx.leads[o.lead].process) == k.a {
				return sign
			}
			return 0
		}
	case countLead:
		r.perRun = func(o *offer) int64 {
			if int64(o.lead) == k.a {
				return sign
			}
			return 0
		}
	case countFill:
		r.sets = []int{int(k.a)}
		r.perRoll = make([]int64, len(rx.types))
		for t := range rx.types {
			if rx.types[t].area == k.b {
				r.perRoll[t] = sign
			}
		}
	case countRolls:
		r.perRoll = make([]int64, len(rx.types))
		r.perRoll[k.a] = sign
	}
	return r
}

// ofContent is what a content uses of a resource of its session.
func (rx *relaxation) ofContent(r *resource, co *content) int64 {
	var sum int64
	if r.perRoll != nil {
		for _, it := range co.items {
			if r.usedBy(it.set) {
				sum += it.n * r.perRoll[it.typ]
			}
		}
	}
	for i := range co.loads {
		sum += r.ofLoad(&rx.sess[co.sess].offers[co.loads[i].offer], &co.loads[i])
	}
	return sum
}

// trimmed is a copy of a master without the contents that cost more than the
// rest of the goal's worth leaves room for; those that are needed after all are
// found again by pricing.
func (ma *master) trimmed(room float64) *master {
	c := *ma
	c.sx = ma.sx.clone()
	c.sum, c.dives = nil, 0
	content := make([]int, len(c.sx.cols))
	for j := range content {
		content[j] = -1
	}
	for i := range ma.col {
		if ma.col[i] >= 0 {
			content[ma.col[i]] = i
		}
	}
	c.sx.price()
	to := c.sx.trim(func(col int, gain float64) bool { return content[col] < 0 || gain <= room })
	c.col = slices.Clone(ma.col)
	for i, col := range c.col {
		if col >= 0 {
			c.col[i] = to[col]
		}
	}
	for _, list := range []*[]int{&c.art, &c.wasted, &c.left, &c.kit, &c.spare} {
		moved := slices.Clone(*list)
		for i, col := range moved {
			if col >= 0 {
				moved[i] = to[col]
			}
		}
		*list = moved
	}
	return &c
}

// child is a master with one row more.
func (ma *master) child(row resource) *master {
	rx := ma.rx
	c := *ma
	c.col, c.sum, c.rounds, c.dives = slices.Clone(ma.col), nil, 0, 0
	c.pr, c.half, c.step, c.last = prices{}, true, nil, 0
	at := len(ma.li.rows)
	c.li.rows = append(slices.Clip(ma.li.rows), row)
	c.li.byRow = slices.Clone(ma.li.byRow)
	for _, i := range row.sessions {
		c.li.byRow[i] = append(slices.Clip(c.li.byRow[i]), at)
	}
	uses := make([]float64, len(ma.sx.cols))
	for i := range rx.pool {
		if col := c.colOf(i); col >= 0 && slices.Contains(row.sessions, rx.pool[i].sess) {
			uses[col] = -float64(rx.ofContent(&row, &rx.pool[i])) / row.unit()
		}
	}
	c.at = append(slices.Clip(ma.at), len(ma.sx.rhs))
	c.sx = ma.sx.withRow(-float64(row.cap)/row.unit(), ma.dear, func(col int) float64 { return uses[col] })
	return &c
}

// The work that half a goal is worth.
const (
	childPivots = 400
	childRounds = 15
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
		ok, leaf := tr.split(&try)
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
