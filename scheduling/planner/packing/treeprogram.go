package packing

import (
	"cmp"
	"math"
	"slices"
)

// A treeProgram is the relaxation of a node: every type covered exactly.
type treeProgram struct {
	*program
	tr    *tree
	nd    *treeNode
	names []basic       // what each column stands for
	of    map[basic]int // and back
}

// A basic is what a column stands for.
type basic struct {
	kind basicKind
	pat  int32    // of the pool
	typ  int32    // whose artificial it is, when row is nil
	row  *treeRow // whose slack or artificial it is
}

type basicKind uint8

const (
	isPattern basicKind = iota
	isSlack
	isArtificial
)

// penalty is the cost of an artificial, far above what a bin's worth can be.
const penalty = 64

// program builds a node's relaxation and begins from the node's basis. There,
// what was cut off from the pool stays at a penalty, shut, and new rows get
// their slack, or an artificial where the basis breaks them.
func (tr *tree) program(nd *treeNode) *treeProgram {
	n := len(tr.in.size)
	m := n + len(nd.rows)
	lp := &treeProgram{program: newProgram(m, tr.mt), tr: tr, nd: nd, of: make(map[basic]int, 2*m)}
	for t, d := range tr.in.demand {
		lp.rhs[t] = float64(d) + shift*(1+float64(t*61%97)/97)
	}
	for i, r := range nd.rows {
		lp.rhs[n+i] = float64(r.rhs) + shift*float64(r.slack())
	}
	for _, i := range nd.alive {
		lp.pattern(i, 1)
	}
	tr.mt.spend(int64(len(nd.alive)) * int64(8+len(nd.rows)))
	for _, r := range nd.rows {
		lp.named(basic{kind: isSlack, row: r})
	}
	units := make([]int, 0, m)
	if nd.basis == nil {
		for t := range n {
			units = append(units, lp.named(basic{kind: isArtificial, typ: int32(t)}))
		}
	}
	for _, b := range nd.basis {
		units = append(units, lp.named(b))
	}
	units = units[:len(units):len(units)]
	for _, r := range nd.rows[nd.made:] {
		units = append(units, lp.of[basic{kind: isSlack, row: r}])
	}
	lp.basis = units
	if !lp.invert() || !lp.mend() {
		lp.cold()
	}
	for _, j := range lp.basis {
		lp.inside[j] = true
	}
	return lp
}

// slack is the sign of a row's slack: at most is +1.
func (r *treeRow) slack() int32 {
	if r.least {
		return -1
	}
	return 1
}

// pattern adds a pattern's column.
func (lp *treeProgram) pattern(i int32, cost float64) int {
	n := len(lp.tr.in.size)
	for _, e := range lp.tr.pool[i] {
		lp.row, lp.val = append(lp.row, e.typ), append(lp.val, e.count)
	}
	for k, r := range lp.nd.rows {
		if c := r.coef[i]; c != 0 {
			lp.row, lp.val = append(lp.row, int32(n+k)), append(lp.val, int32(c))
		}
	}
	j := lp.add(cost)
	lp.keep(basic{kind: isPattern, pat: i}, j)
	return j
}

func (lp *treeProgram) keep(b basic, j int) {
	lp.names = append(lp.names, b)
	lp.of[b] = j
}

// named is the column of a name, added where it is not there.
func (lp *treeProgram) named(b basic) int {
	if j, ok := lp.of[b]; ok {
		return j
	}
	row, val := int(b.typ), int32(1)
	if b.row != nil {
		row, val = len(lp.tr.in.size)+slices.Index(lp.nd.rows, b.row), b.row.slack()
	}
	var j int
	switch b.kind {
	case isPattern:
		j = lp.pattern(b.pat, penalty)
		lp.shut[j] = true
		return j
	case isSlack:
		j = lp.unit(row, val, 0)
	case isArtificial:
		if b.row != nil {
			val = -val
		}
		j = lp.unit(row, val, penalty)
		lp.shut[j] = true
	}
	lp.keep(b, j)
	return j
}

// mend puts an artificial in place of each slack that the basis makes
// negative; its column is the same with the other sign. It says whether
// nothing is below zero then.
func (lp *treeProgram) mend() bool {
	m := lp.m
	changed := false
	for i, x := range lp.x {
		if x > -1e-9 {
			continue
		}
		b := lp.names[lp.basis[i]]
		if b.kind != isSlack {
			if x < -1e-6 {
				return false
			}
			continue
		}
		b.kind = isArtificial
		lp.basis[i] = lp.named(b)
		for k := range m {
			lp.inv[k*m+i] = -lp.inv[k*m+i]
		}
		changed = true
	}
	if changed {
		lp.refresh()
	}
	return true
}

// cold begins from artificials and slacks alone.
func (lp *treeProgram) cold() {
	for t := range lp.tr.in.size {
		lp.basis[t] = lp.named(basic{kind: isArtificial, typ: int32(t)})
	}
	for k, r := range lp.nd.rows {
		kind := isSlack
		if r.least {
			kind = isArtificial
		}
		lp.basis[len(lp.tr.in.size)+k] = lp.named(basic{kind: kind, row: r})
	}
	lp.begin(lp.basis)
	lp.since = 0
}

// portions are the patterns taken.
func (lp *treeProgram) portions() []portion {
	var out []portion
	for i, j := range lp.basis {
		if b := lp.names[j]; b.kind == isPattern && lp.x[i] > 1e-5 {
			out = append(out, portion{lp.tr.pool[b.pat], lp.x[i]})
		}
	}
	sortPortions(out)
	return out
}

// feasible says that no artificial, nor what was cut off, is taken.
func (lp *treeProgram) feasible() bool {
	for i, j := range lp.basis {
		if lp.cost[j] == penalty && lp.x[i] > 1e-5 {
			return false
		}
	}
	return true
}

// save keeps the basis in the node, less the cuts that are slack in it.
func (lp *treeProgram) save() {
	slack := make(map[*treeRow]bool)
	for i, j := range lp.basis {
		if b := lp.names[j]; b.kind == isSlack && b.row.cut != nil && lp.x[i] > 1e-6 {
			slack[b.row] = true
		}
	}
	nd := lp.nd
	nd.basis = make([]basic, 0, len(lp.basis))
	for _, j := range lp.basis {
		if b := lp.names[j]; b.kind != isSlack || !slack[b.row] {
			nd.basis = append(nd.basis, b)
		}
	}
	nd.rows = slices.DeleteFunc(slices.Clone(nd.rows), func(r *treeRow) bool { return slack[r] })
	nd.made = len(nd.rows)
}

// reduce reckons the node's bound in whole numbers and takes out of the node
// each pattern that no packing within the target can use. With duals y of the
// rows, whole numbers of the right sign, every packing of the node is worth at
// least Σ y·rhs; where no pattern is worth more than unit, target bins are
// worth target·unit at most, and a bin that is worth less by more than the
// difference cannot be among them. It says whether the node is refuted.
func (lp *treeProgram) reduce() (refuted bool) {
	nd, tr := lp.nd, lp.tr
	n := len(tr.in.size)
	dual := make([]int64, lp.m)
	greatest := 1.0
	for _, y := range lp.y {
		greatest = max(greatest, math.Abs(y))
	}
	unit := treeOne
	for greatest*float64(unit) > greatestDual && unit > 1 {
		unit /= 2
	}
	scale := float64(unit)
	var sum int64
	for i, y := range lp.y {
		dual[i] = int64(max(min(y*scale, greatestDual), -greatestDual))
		rhs := 0
		if i < n {
			rhs = tr.in.demand[i]
		} else {
			r := nd.rows[i-n]
			rhs = r.rhs
			if r.least == (dual[i] < 0) {
				dual[i] = 0
			}
		}
		sum += dual[i] * int64(rhs)
	}
	worth := make([]int64, len(nd.alive))
	for k, i := range nd.alive {
		var v int64
		for _, e := range tr.pool[i] {
			v += dual[e.typ] * int64(e.count)
		}
		for j, r := range nd.rows {
			v += dual[n+j] * int64(r.coef[i])
		}
		worth[k] = v
		unit = max(unit, v)
	}
	spare := int64(tr.target)*unit - sum
	if spare < 0 {
		return true
	}
	left := nd.alive[:0:0]
	for k, i := range nd.alive {
		if unit-worth[k] <= spare {
			left = append(left, i)
		}
	}
	nd.alive = left
	tr.mt.spend(int64(len(worth)) * int64(8+len(nd.rows)))
	return len(left) == 0
}

func comparePatterns(a, b pattern) int {
	return slices.CompareFunc(a, b, func(x, y entry) int {
		return cmp.Or(cmp.Compare(x.typ, y.typ), cmp.Compare(x.count, y.count))
	})
}

// sortPortions puts what is taken most first, in an order that does not hang on
// the last bits.
func sortPortions(out []portion) {
	slices.SortFunc(out, func(a, b portion) int {
		if d := b.times - a.times; d > 1e-9 || d < -1e-9 {
			return cmp.Compare(b.times, a.times)
		}
		return comparePatterns(a.pat, b.pat)
	})
}
