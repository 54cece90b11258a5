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

// fractional is the count to split by: of the first sort of which any is not
// whole, the one farthest from it. False where all are whole.
func (ma *master) fractional() (countKey, float64, bool) {
	var best countKey
	var value, far float64
	first := math.MaxInt
	counts := ma.counts()
	keys := make([]countKey, 0, len(counts))
	for k := range counts {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(x, y countKey) int {
		return cmp.Or(cmp.Compare(x.sort, y.sort), cmp.Compare(x.a, y.a), cmp.Compare(x.b, y.b))
	})
	for _, k := range keys {
		v := counts[k]
		d := math.Abs(v - math.Round(v))
		if d < 0.01 || k.sort > first {
			continue
		}
		if k.sort < first || d > far {
			best, value, far, first = k, v, d, k.sort
		}
	}
	return best, value, first < math.MaxInt
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

// child is a master with one row more.
func (ma *master) child(row resource) *master {
	rx := ma.rx
	c := *ma
	c.sx = ma.sx.clone()
	c.col, c.sum, c.rounds, c.dives = slices.Clone(ma.col), nil, 0, 0
	c.pr, c.half, c.step, c.last = prices{}, true, nil, 0
	at := len(ma.li.rows)
	c.li.rows = append(slices.Clip(ma.li.rows), row)
	c.li.byRow = slices.Clone(ma.li.byRow)
	for _, i := range row.sessions {
		c.li.byRow[i] = append(slices.Clip(c.li.byRow[i]), at)
	}
	uses := make(map[int]float64)
	for i := range rx.pool {
		if col := c.colOf(i); col >= 0 && slices.Contains(row.sessions, rx.pool[i].sess) {
			uses[col] = -float64(rx.ofContent(&row, &rx.pool[i])) / row.unit()
		}
	}
	c.at = append(slices.Clip(ma.at), len(c.sx.rhs))
	c.sx.addRow(-float64(row.cap)/row.unit(), ma.dear, func(col int) float64 { return uses[col] })
	return &c
}

// The work that half a goal is worth.
const (
	childPivots = 400
	childRounds = 15
)

// deepen proves as much more of a goal, up to its target, as so many splits do. It
// gives the bound, and the last program that stood in the way of more, if any.
func (ma *master) deepen(splits *int, expired func() bool) (int64, *master) {
	rx := ma.rx
	bound := rx.whole(ma)
	if ma.goal.level == chemistry {
		return ma.fill(rx.wasters(), ma.paid, splits, expired)
	}
	for bound < ma.goal.target {
		try := *ma
		if try.goal.target = bound + 1; ma.goal.finish > 0 {
			try.goal.target = ma.goal.target // all or nothing
		}
		ok, leaf := try.split(splits, expired)
		if !ok {
			return bound, leaf
		}
		bound = try.goal.target
	}
	return bound, nil
}

// split proves that the goal is not below the target by splitting it and its
// halves, so often at most. It says whether it is proved, and otherwise which
// program of whole numbers is below, if it came to one.
func (ma *master) split(splits *int, expired func() bool) (bool, *master) {
	rx := ma.rx
	if rx.whole(ma) >= ma.goal.target {
		return true, nil
	}
	k, value, ok := ma.fractional()
	if !ok {
		return false, ma
	}
	below := int64(math.Floor(value))
	halves := []resource{rx.row(k, 1, below), rx.row(k, -1, -below-1)}
	if value-float64(below) > 0.5 {
		slices.Reverse(halves) // the likelier first: it fails sooner if there is no proof
	}
	for _, row := range halves {
		if *splits--; *splits < 0 || expired() {
			return false, nil
		}
		c := ma.child(row)
		c.generate(childPivots, childRounds, expired)
		c.barMore(expired)
		if ok, leaf := c.split(splits, expired); !ok {
			return false, leaf
		}
	}
	return true, nil
}
