package planner

import (
	"cmp"
	"iter"
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
	countSet            // runs of a lead by a set in a session
	countEarly          // runs of a lead in the early part of a session
	countRolls          // rolls of a type in a session
	countBoth           // runs of a lead by a set in the early part of a session
	countBy             // rolls of a type by a set in a session
	countAfter          // those of them that are in runs after its early part
)

// A countKey names a count; what a and b are depends on the sort.
type countKey struct {
	sort int
	a, b int64
}

// inUse are the contents that the optimum has, with how much of each.
func (ma *master) inUse() iter.Seq2[int, float64] {
	return func(yield func(c int, x float64) bool) {
		for c := range ma.rx.pool {
			col := ma.colOf(c)
			if col < 0 {
				continue
			}
			if x := ma.sx.value(col); x >= 1e-7 && !yield(c, x) {
				return
			}
		}
	}
}

// counts are how many there are of all that is to be whole.
func (ma *master) counts() map[countKey]float64 {
	rx := ma.rx
	out := make(map[countKey]float64)
	for c, x := range ma.inUse() {
		co := &rx.pool[c]
		for _, l := range co.loads {
			lead := rx.sess[co.sess].offers[l.offer].lead
			process, n := int64(rx.leads[lead].process), x*float64(l.runs)
			out[countKey{countProcess, process, 0}] += n
			out[countKey{countSession, process, int64(co.sess)}] += n
			out[countKey{countLead, int64(lead), int64(co.sess)}] += n
			out[countKey{countSet, int64(lead*len(rx.sets) + l.set), int64(co.sess)}] += n
			if l.early && ma.li.strict {
				out[countKey{countEarly, int64(lead), int64(co.sess)}] += n
			}
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

// finer are the counts that are to be whole besides for contents to add up to whole ones.
func (ma *master) finer() map[countKey]float64 {
	rx := ma.rx
	out := make(map[countKey]float64)
	for c, x := range ma.inUse() {
		co := &rx.pool[c]
		for _, l := range co.loads {
			if l.early && ma.li.strict {
				lead := rx.sess[co.sess].offers[l.offer].lead
				out[countKey{countBoth, int64(lead*len(rx.sets) + l.set), int64(co.sess)}] += x * float64(l.runs)
			}
		}
		for _, it := range co.items {
			n, of := x*float64(it.n), int64(it.typ*len(rx.sets)+it.set)
			out[countKey{countBy, of, int64(co.sess)}] += n
			if !it.early && ma.li.strict {
				out[countKey{countAfter, of, int64(co.sess)}] += n
			}
		}
	}
	return out
}

// nearWhole is how far from a whole number a count may be and be one.
const nearWhole = 0.01

// A cut is a count that is not whole.
type cut struct {
	key   countKey
	value float64
}

// fractional are those of some counts that are not whole, in a fixed order.
func fractional(counts map[countKey]float64) []cut {
	var out []cut
	for k, v := range counts {
		if math.Abs(v-math.Round(v)) >= nearWhole {
			out = append(out, cut{k, v})
		}
	}
	sortCuts(out)
	return out
}

func sortCuts(cuts []cut) {
	slices.SortFunc(cuts, func(x, y cut) int {
		return cmp.Or(cmp.Compare(x.key.sort, y.key.sort), cmp.Compare(x.key.a, y.key.a), cmp.Compare(x.key.b, y.key.b))
	})
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
	case countLead, countEarly:
		r.early = k.sort == countEarly
		r.perRun = func(o *offer) int64 {
			if int64(o.lead) == k.a {
				return sign
			}
			return 0
		}
	case countSet, countBoth:
		r.early = k.sort == countBoth
		r.sets = []int{int(k.a) % len(rx.sets)}
		r.perRun = func(o *offer) int64 {
			if o.lead == int(k.a)/len(rx.sets) {
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
	case countBy, countAfter:
		r.sets = []int{int(k.a) % len(rx.sets)}
		r.perRoll = make([]int64, len(rx.types))
		r.perRoll[int(k.a)/len(rx.sets)] = sign
		if k.sort == countAfter {
			r.spared = make([]bool, len(rx.sess))
			r.spared[k.b] = true
		}
	}
	return r
}

// ofContent is what a content uses of a resource of its session.
func (rx *relaxation) ofContent(r *resource, co *content) int64 {
	var sum int64
	if r.perRoll != nil {
		for _, it := range co.items {
			if r.usedBy(it.set) && !r.spares(co.sess, it.early) {
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
	c.sum, c.dives, c.full = nil, 0, nil
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
	for _, list := range []*[]int{&c.art, &c.wasted, &c.left, &c.kit, &c.spare, &c.extra} {
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
	c.col, c.sum, c.rounds, c.dives, c.full = slices.Clone(ma.col), nil, 0, 0, nil
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
