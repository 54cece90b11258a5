package packing

import (
	"math"
	"slices"
)

// A pair is two types, perhaps the same, and how often portions put them into a
// bin together.
type pair struct {
	a, b  int32
	times float64
}

// A taste is what pairs to branch on first, beside how broken they are. Which
// ends a search soon differs by orders of magnitude from instance to instance,
// so they take turns.
type taste int

const (
	smallPairs  taste = iota // the two together take little of a bin
	largeFirst               // the larger of the two is large
	largeSecond              // the smaller of the two is large
	tastes
)

func (w taste) weigh(x, y float64) float64 {
	switch w {
	case smallPairs:
		return 1.1 - min(x+y, 1)
	case largeFirst:
		return 0.1 + max(x, y)
	default:
		return 0.1 + min(x, y)
	}
}

// broken gives the pairs that are together a broken number of times, the best
// to branch on first (Ryan and Foster 1981; Vance, Barnhart, Johnson, Nemhauser
// 1994).
func (in *instance) broken(parts []portion, by taste) []pair {
	sum := make(map[[2]int32]int)
	var all []pair
	add := func(a, b int32, times float64) {
		i, ok := sum[[2]int32{a, b}]
		if !ok {
			i = len(all)
			sum[[2]int32{a, b}] = i
			all = append(all, pair{a: a, b: b})
		}
		all[i].times += times
	}
	for _, p := range parts {
		for i, e := range p.pat {
			if e.count > 1 {
				add(e.typ, e.typ, p.times)
			}
			for _, f := range p.pat[i+1:] {
				add(e.typ, f.typ, p.times)
			}
		}
	}
	score := func(p pair) float64 {
		frac := p.times - math.Floor(p.times)
		return min(frac, 1-frac) * (1 + frac/4) * by.weigh(in.weight(in.size[p.a]), in.weight(in.size[p.b]))
	}
	all = slices.DeleteFunc(all, func(p pair) bool {
		frac := p.times - math.Floor(p.times)
		return min(frac, 1-frac) < 0.02
	})
	slices.SortStableFunc(all, func(p, q pair) int {
		switch s, t := score(p), score(q); {
		case s > t*(1+1e-6):
			return -1
		case t > s*(1+1e-6):
			return 1
		}
		return 0
	})
	return all
}

// trim takes off portions what they hold of a type beyond its demand.
func (in *instance) trim(parts []portion) []portion {
	over := make([]float64, len(in.demand))
	for t, n := range in.demand {
		over[t] = -float64(n)
	}
	for _, p := range parts {
		for _, e := range p.pat {
			over[e.typ] += p.times * float64(e.count)
		}
	}
	out := slices.Clone(parts)
	for i := 0; i < len(out); i++ {
		for k := 0; k < len(out[i].pat); k++ {
			e := out[i].pat[k]
			if over[e.typ] < 1e-5 {
				continue
			}
			// One thing less in part of the portion, which is split for it.
			less := slices.Clone(out[i].pat)
			if less[k].count--; less[k].count == 0 {
				less = slices.Delete(less, k, k+1)
			}
			cut := min(over[e.typ], out[i].times)
			over[e.typ] -= cut
			if rest := out[i].times - cut; rest > 1e-6 {
				out = append(out, portion{out[i].pat, rest})
			}
			out[i] = portion{less, cut}
			k = -1
		}
	}
	return out
}

// split is the instance with each thing a type of its own.
func (in *instance) split() rest {
	rs := rest{in: &instance{dims: in.dims, room: in.room, things: in.things}}
	for t, n := range in.demand {
		for range n {
			rs.from = append(rs.from, pattern{{int32(t), 1}})
			rs.in.size, rs.in.demand = append(rs.in.size, in.size[t]), append(rs.in.demand, 1)
		}
	}
	rs.in.inherit(in, rs.from)
	return rs
}

// weight is the sum of a size's parts of the capacities.
func (in *instance) weight(size []int64) float64 {
	var sum float64
	for d, s := range size {
		if s > 0 {
			sum += float64(s) / float64(in.room[d])
		}
	}
	return sum
}

// together is the instance when some bin has one thing of each of two types:
// the two become one thing.
func (in *instance) together(a, b int32) rest {
	demand := slices.Clone(in.demand)
	demand[a]--
	demand[b]--
	rs := in.without(demand)
	size := make([]int64, in.dims)
	for d := range size {
		size[d] = in.size[a][d] + in.size[b][d]
	}
	sub := rs.in
	at := 0
	for at < len(sub.size) && in.weight(sub.size[at]) > in.weight(size) {
		at++
	}
	merged := pattern{}.with(int(a), 1).with(int(b), 1)
	rs.from = slices.Insert(rs.from, at, merged)
	sub.size, sub.demand = slices.Insert(sub.size, at, size), slices.Insert(sub.demand, at, 1)
	sub.things++
	sub.inherit(in, rs.from)
	return rs
}

// neverTogether is the instance when no bin has things of both types.
func (in *instance) neverTogether(a, b int32) rest {
	rs := in.without(in.demand)
	if rs.in.apart == nil {
		rs.in.apart = make([][]bool, len(in.size))
		for i := range rs.in.apart {
			rs.in.apart[i] = make([]bool, len(in.size))
		}
	}
	rs.in.apart[a][b], rs.in.apart[b][a] = true, true
	return rs
}

// joins says that a thing of a type may go into a bin with a pattern.
func (in *instance) joins(t int, pat pattern) bool {
	if in.apart == nil {
		return true
	}
	for _, e := range pat {
		if in.apart[t][e.typ] {
			return false
		}
	}
	return true
}

// after composes two steps: rs was made of an instance that prior made.
func (rs rest) after(prior *rest) rest {
	from := make([]pattern, len(rs.from))
	for t := range from {
		from[t] = prior.outside(rs.from[t])
	}
	return rest{rs.in, from}
}

// typeOf is the first type that is made of a thing of the old type a.
func (rs *rest) typeOf(a int32) int32 {
	for t, from := range rs.from {
		for _, e := range from {
			if e.typ == a {
				return int32(t)
			}
		}
	}
	return -1
}

// A child is a relaxation below a branching; lift makes a packing of its things
// one of the parent's.
type child struct {
	*relaxation
	lift func(packing) packing
}

// children are the relaxations in which some bin has both of a pair, and in
// which none has; to be solved.
func (r *relaxation) children(p pair) [2]child {
	a, b := r.view.typeOf(p.a), r.view.typeOf(p.b)
	view := &r.view
	same := func(pk packing) packing { return pk }
	less := r.child(view.in.neverTogether(a, b).after(view), func(pat pattern) bool {
		if a == b {
			return pat.countOf(p.a) > 1
		}
		return r.has(pat, a) && r.has(pat, b)
	})
	rs := view.in.together(a, b)
	if view.in.demand[a] == 1 && view.in.demand[b] == 1 && a != b {
		// All of both types is in that one bin.
		more := r.child(rs.after(view), func(pat pattern) bool { return r.has(pat, a) != r.has(pat, b) })
		more.add(more.view.from[more.view.typeOf(p.a)])
		return [2]child{{more, same}, {less, same}}
	}
	// Rows change, so it begins anew.
	more := newRelaxation(rs.in, r.k.mt)
	all := rs.after(view)
	for _, pat := range r.pats {
		if in := all.inside(pat); len(in) > 0 {
			more.add(in)
		}
	}
	return [2]child{{more, func(pk packing) packing { return all.join(nil, pk) }}, {less, same}}
}

// has says that a pattern of in's types holds a thing of the view's type t.
func (r *relaxation) has(pat pattern, t int32) bool {
	first := r.view.from[t][0].typ
	return slices.ContainsFunc(pat, func(e entry) bool { return e.typ == first })
}

// child begins from this relaxation's basis; what it bans stays in the basis at
// a penalty until it is driven out.
func (r *relaxation) child(view rest, bans func(pattern) bool) *relaxation {
	c := &relaxation{
		in: r.in, view: view, k: newKnapsack(view.in, r.k.mt), prog: r.prog.clone(),
		pats: slices.Clone(r.pats), value: make([]int64, len(r.value)), unit: one,
	}
	for j, pat := range c.pats {
		if pat != nil && bans(pat) {
			c.prog.shut[j] = true
			c.prog.cost[j] = penalty
			c.pats[j] = nil
		}
	}
	c.prog.refresh()
	return c
}
