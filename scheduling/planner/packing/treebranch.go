package packing

import (
	"math"
	"slices"
)

// whole gives the packing of portions that are all whole, or nil.
func whole(parts []portion) packing {
	var pk packing
	for _, p := range parts {
		n := math.Round(p.times)
		if math.Abs(p.times-n) > 1e-4 {
			return nil
		}
		for range int(n) {
			pk = append(pk, p.pat)
		}
	}
	return pk
}

// branch makes the children of a node: a pair of types together in a bin more
// often, and less often (Ryan and Foster 1981, Vance 1998), or, where every
// pair is whole, one pattern.
func (tr *tree) branch(nd *treeNode, parts []portion) []*treeNode {
	has, times, both := tr.decision(parts)
	more, less := nd.child(), nd.child()
	low := int(math.Floor(times))
	// Where there is one thing of each, patterns with one of them alone go.
	single := both != nil && both.a != both.b && tr.in.demand[both.a] == 1 && tr.in.demand[both.b] == 1
	var coef []int8
	if !single {
		coef = make([]int8, len(tr.pool))
	}
	for _, i := range nd.alive {
		in := has(tr.pool[i])
		if coef != nil && in {
			coef[i] = 1
		}
		if low > 0 || !in {
			less.alive = append(less.alive, i)
		}
		if alone := single && !in && tr.pool[i].countOf(both.a)+tr.pool[i].countOf(both.b) > 0; !alone {
			more.alive = append(more.alive, i)
		}
	}
	if coef != nil {
		more.rows = append(more.rows, &treeRow{coef: coef, rhs: low + 1, least: true})
		if low > 0 {
			less.rows = append(less.rows, &treeRow{coef: coef, rhs: low})
		}
	}
	tr.mt.spend(int64(len(nd.alive)) * 10)
	return []*treeNode{more, less}
}

// decision gives which patterns to take more often, or less, than they are
// taken now: those with a pair of types, or one alone.
func (tr *tree) decision(parts []portion) (has func(pattern) bool, times float64, both *pair) {
	if pairs := tr.in.broken(parts, largeSecond); len(pairs) > 0 {
		p := pairs[0]
		if p.a == p.b {
			return func(pat pattern) bool { return pat.countOf(p.a) > 1 }, p.times, &p
		}
		return func(pat pattern) bool { return pat.countOf(p.a) > 0 && pat.countOf(p.b) > 0 }, p.times, &p
	}
	most := parts[0]
	for _, p := range parts {
		if half(p.times) < half(most.times) {
			most = p
		}
	}
	return func(pat pattern) bool { return slices.Equal(pat, most.pat) }, most.times, nil
}

// half is how far a number's broken part is from a half.
func half(x float64) float64 { return math.Abs(x - math.Floor(x) - 0.5) }

func (nd *treeNode) child() *treeNode {
	return &treeNode{rows: slices.Clone(nd.rows), basis: nd.basis, made: nd.made, depth: nd.depth + 1}
}
