package packing

import (
	"math"
	"slices"
)

// A tree decides whether the patterns of a pool can be put together into a
// packing of at most target bins: branch and cut, each node refuted in whole
// numbers. The pool holds every pattern that such a packing can have.
type tree struct {
	in     *instance
	mt     *meter
	target int
	pool   []pattern
	limit  int // nodes at most
	found  packing
	open   bool // some node was given up
}

// A treeRow is a cut or a branching decision over the pool.
type treeRow struct {
	coef  []int8 // by pattern
	rhs   int
	least bool // at least rhs, else at most
	cut   *cut
}

// A treeNode is what its decisions leave of the pool.
type treeNode struct {
	alive []int32
	rows  []*treeRow // its decisions that need a row, and cuts
	basis []basic    // to begin from
	made  int        // for how many of the rows basis was made: the first
	depth int
}

const (
	treeOne      = int64(1) << 32
	greatestDual = 1 << 41 // times a million things stays within 64 bits
	mostRows     = 400
	mostDepth    = 2_000
)

// run says whether the tree was searched to its end: with found set, or none.
func (tr *tree) run() bool {
	root := &treeNode{alive: make([]int32, len(tr.pool))}
	for i := range root.alive {
		root.alive[i] = int32(i)
	}
	tr.explore(root)
	return tr.found != nil || !tr.open
}

// explore searches a node and those below it, until a packing is found.
func (tr *tree) explore(nd *treeNode) {
	if tr.found != nil || tr.open {
		return
	}
	if tr.limit--; tr.limit < 0 || tr.mt.over() || nd.depth > mostDepth {
		tr.open = true
		return
	}
	tr.mt.effort.Nodes++
	parts, done := tr.bound(nd)
	if done {
		return
	}
	if parts == nil {
		tr.open = true
		return
	}
	for _, child := range tr.branch(nd, parts) {
		tr.explore(child)
	}
}

// bound tightens a node by the relaxation and cuts until it is refuted, solved
// (done) or fractional; nil when it failed.
func (tr *tree) bound(nd *treeNode) (parts []portion, done bool) {
	stalled := 0
	last := math.Inf(-1)
	for {
		lp := tr.program(nd)
		if !lp.solve() {
			debugf("lp fails")
			return nil, false
		}
		if lp.reduce() {
			return nil, true
		}
		if !lp.feasible() {
			debugf("infeasible %v", lp.value())
			return nil, false // no packing, but the penalty was too small to prove it
		}
		parts = lp.portions()
		if pk := whole(parts); pk != nil {
			tr.found = pk
			return nil, true
		}
		lp.save()
		if lp.value() < last+1e-4 {
			stalled++
		}
		last = lp.value()
		if stalled > 3 || len(nd.rows) > mostRows {
			return parts, false
		}
		var known []*cut
		for _, r := range nd.rows {
			if r.cut != nil {
				known = append(known, r.cut)
			}
		}
		cuts := tr.in.separate(parts, known, tr.mt)
		if len(cuts) == 0 {
			return parts, false
		}
		tr.mt.effort.Cuts += int64(len(cuts))
		for _, c := range cuts {
			row := &treeRow{coef: make([]int8, len(tr.pool)), rhs: c.rhs, cut: c}
			for i, pat := range tr.pool {
				row.coef[i] = int8(min(c.coef(pat), math.MaxInt8))
			}
			nd.rows = append(nd.rows, row)
		}
		tr.mt.spend(int64(len(cuts)) * int64(len(tr.pool)) * 4)
	}
}

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
	var pair pair
	some := false
	if pairs := tr.in.broken(parts, largeSecond); len(pairs) > 0 {
		pair, some = pairs[0], true
	}
	times := pair.times
	has := func(i int32) bool { // the decision's patterns
		var a, b bool
		for _, e := range tr.pool[i] {
			if pair.a == pair.b {
				a = a || e.typ == pair.a && e.count > 1
				b = a
				continue
			}
			a, b = a || e.typ == pair.a, b || e.typ == pair.b
		}
		return a && b
	}
	if !some {
		least := 2.0
		var which pattern
		for _, p := range parts {
			if d := math.Abs(p.times - math.Floor(p.times) - 0.5); d < least {
				least, which, times = d, p.pat, p.times
			}
		}
		has = func(i int32) bool { return slices.Equal(tr.pool[i], which) }
	}
	more, less := nd.child(), nd.child()
	low := int(math.Floor(times))
	single := some && pair.a != pair.b && tr.in.demand[pair.a] == 1 && tr.in.demand[pair.b] == 1
	var coef []int8
	if !single {
		coef = make([]int8, len(tr.pool))
	}
	for _, i := range nd.alive {
		both := has(i)
		if coef != nil && both {
			coef[i] = 1
		}
		if low > 0 || !both {
			less.alive = append(less.alive, i)
		}
		one := false
		if single && !both {
			for _, e := range tr.pool[i] {
				one = one || e.typ == pair.a || e.typ == pair.b
			}
		}
		if !one {
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

func (nd *treeNode) child() *treeNode {
	return &treeNode{rows: slices.Clone(nd.rows), basis: nd.basis, made: nd.made, depth: nd.depth + 1}
}
