package packing

import "math"

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
	greatestDual = 1 << 41 // times 100,000 things, it stays within 64 bits
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
			return nil, false
		}
		if lp.reduce() {
			return nil, true
		}
		if !lp.feasible() {
			return nil, false // no packing, but the penalty was too small to prove it
		}
		parts = lp.portions()
		if pk := whole(parts); pk != nil {
			if len(pk) > tr.target || tr.in.verify(pk) != nil {
				return nil, false
			}
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
