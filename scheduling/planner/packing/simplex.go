package packing

import (
	"cmp"
	"math"
	"slices"
)

// A program is a linear program in equations: the least Σ cost·x with
// Σ column·x = rhs, x ≥ 0. Columns are sparse and of whole numbers; slacks and
// artificials are columns like others. It is solved by the revised simplex
// method with an explicit inverse, for some hundred rows.
type program struct {
	m    int
	rhs  []float64
	ptr  []int // start of each column in row and val
	row  []int32
	val  []int32
	cost []float64
	shut []bool // columns that must not enter

	basis  []int  // by position
	inside []bool // by column
	inv    []float64
	x, y   []float64
	hot    []int // columns to look at first

	alpha  []float64
	alphaN []int
	since  int // pivots since the inverse was made
	mt     *meter
}

// Tolerances of the simplex method. Nothing is proved by them: what is proved is
// reckoned in whole numbers.
const (
	epsCost  = 1e-9
	epsPivot = 1e-8
)

func newProgram(m int, mt *meter) *program {
	return &program{
		m: m, rhs: make([]float64, m), ptr: []int{0}, mt: mt,
		inv: make([]float64, m*m), x: make([]float64, m), y: make([]float64, m), alpha: make([]float64, m), alphaN: make([]int, 0, m),
	}
}

// clone is a copy to be changed.
func (p *program) clone() *program {
	c := *p
	c.rhs, c.ptr, c.row, c.val = slices.Clone(p.rhs), slices.Clone(p.ptr), slices.Clone(p.row), slices.Clone(p.val)
	c.cost, c.shut, c.inside = slices.Clone(p.cost), slices.Clone(p.shut), slices.Clone(p.inside)
	c.basis, c.inv, c.x, c.y = slices.Clone(p.basis), slices.Clone(p.inv), slices.Clone(p.x), slices.Clone(p.y)
	c.hot, c.alpha, c.alphaN = nil, make([]float64, p.m), make([]int, 0, p.m)
	return &c
}

// add appends a column; its entries are appended by the caller to row and val
// before.
func (p *program) add(cost float64) int {
	p.ptr = append(p.ptr, len(p.row))
	p.cost = append(p.cost, cost)
	p.shut = append(p.shut, false)
	p.inside = append(p.inside, false)
	return len(p.cost) - 1
}

func (p *program) unit(row int, val int32, cost float64) int {
	p.row, p.val = append(p.row, int32(row)), append(p.val, val)
	return p.add(cost)
}

// begin takes a basis of unit columns of value 1, one a row in order.
func (p *program) begin(units []int) {
	p.basis = append(p.basis[:0], units...)
	clear(p.inv)
	for i, j := range units {
		p.inside[j] = true
		p.inv[i*p.m+i] = 1
	}
	p.refresh()
}

// refresh reckons x and y anew from the inverse. Column k of the inverse is
// inv[k*m : (k+1)*m].
func (p *program) refresh() {
	m := p.m
	clear(p.x)
	for k := range m {
		col, b := p.inv[k*m:(k+1)*m], p.rhs[k]
		var y float64
		for i, v := range col {
			p.x[i] += v * b
			y += v * p.cost[p.basis[i]]
		}
		p.y[k] = y
	}
}

// reduced is a column's reduced cost.
func (p *program) reduced(j int) float64 {
	d := p.cost[j]
	for k := p.ptr[j]; k < p.ptr[j+1]; k++ {
		d -= p.y[p.row[k]] * float64(p.val[k])
	}
	return d
}

// solve pivots until no column is worth entering; false when work is over or
// numbers fail.
func (p *program) solve() bool {
	for {
		q := p.entering()
		if q < 0 {
			if p.since > 0 && !p.invert() {
				return false
			}
			if q = p.entering(); q < 0 {
				return true
			}
		}
		if !p.pivot(q) || !p.mt.spend(int64(p.m)*int64(len(p.alphaN)+4)) {
			return false
		}
	}
}

// hottest is how many columns are looked at before all are again.
const hottest = 60

// entering is the column of least reduced cost among the hot ones, or among
// all; −1 when there is none below zero.
func (p *program) entering() int {
	best, least := -1, -epsCost
	keep := p.hot[:0]
	for _, j := range p.hot {
		if p.inside[j] || p.shut[j] {
			continue
		}
		if d := p.reduced(j); d < -epsCost {
			keep = append(keep, j)
			if d < least {
				best, least = j, d
			}
		}
	}
	p.hot = keep
	if best >= 0 {
		return best
	}
	p.mt.spend(int64(len(p.row)))
	worst := 0.0
	var costs [hottest]float64
	p.hot = p.hot[:0]
	for j := range p.cost {
		if p.inside[j] || p.shut[j] {
			continue
		}
		d := p.reduced(j)
		if d >= -epsCost || len(p.hot) == hottest && d >= worst {
			continue
		}
		if d < least {
			best, least = j, d
		}
		if len(p.hot) < hottest {
			costs[len(p.hot)] = d
			p.hot = append(p.hot, j)
			continue
		}
		// Replaces the one that is worth least.
		at := 0
		for i := range costs {
			if costs[i] > costs[at] {
				at = i
			}
		}
		costs[at], p.hot[at] = d, j
		worst = costs[0]
		for _, c := range costs {
			worst = max(worst, c)
		}
	}
	return best
}

// pivot brings a column in; false when the inverse has gone bad.
func (p *program) pivot(q int) bool {
	m := p.m
	p.column(q)
	leave, step := -1, math.Inf(1)
	for _, i := range p.alphaN {
		if a := p.alpha[i]; a > epsPivot {
			r := max(p.x[i], 0) / a
			if r < step-1e-12 || r < step+1e-12 && (leave < 0 || a > p.alpha[leave]) {
				leave, step = i, r
			}
		}
	}
	if leave < 0 {
		// Bounded by construction, so this is rounding: make the inverse anew, once.
		if p.since == 0 {
			p.shut[q] = true
			return true
		}
		return p.invert()
	}
	p.mt.effort.Pivots++
	pr := p.alpha[leave]
	d := p.reduced(q)
	for k := range m {
		col := p.inv[k*m : (k+1)*m]
		t := col[leave]
		if t == 0 {
			continue
		}
		t /= pr
		for _, i := range p.alphaN {
			col[i] -= p.alpha[i] * t
		}
		col[leave] = t
		p.y[k] += d * t
	}
	for _, i := range p.alphaN {
		p.x[i] -= step * p.alpha[i]
	}
	p.x[leave] = step
	p.inside[p.basis[leave]] = false
	p.basis[leave] = q
	p.inside[q] = true
	if p.since++; p.since >= 150 {
		return p.invert()
	}
	return true
}

// column reckons inverse × column q into alpha, its rows that count in alphaN.
func (p *program) column(q int) {
	m := p.m
	clear(p.alpha)
	for k := p.ptr[q]; k < p.ptr[q+1]; k++ {
		v := float64(p.val[k])
		col := p.inv[int(p.row[k])*m : (int(p.row[k])+1)*m]
		for i, c := range col {
			p.alpha[i] += v * c
		}
	}
	p.alphaN = p.alphaN[:0]
	for i, a := range p.alpha {
		if a > 1e-11 || a < -1e-11 {
			p.alphaN = append(p.alphaN, i)
		} else {
			p.alpha[i] = 0
		}
	}
}

// invert makes the inverse of the basis anew, by elimination of its columns,
// the sparsest first.
func (p *program) invert() bool {
	m := p.m
	basis := append([]int(nil), p.basis...)
	slices.SortStableFunc(basis, func(a, b int) int { return cmp.Compare(p.ptr[a+1]-p.ptr[a], p.ptr[b+1]-p.ptr[b]) })
	clear(p.inv)
	for i := range m {
		p.inv[i*m+i] = 1
	}
	taken := make([]bool, m)
	placed := make([]int, m)
	for _, q := range basis {
		p.column(q)
		at := -1
		for _, i := range p.alphaN {
			if !taken[i] && (at < 0 || math.Abs(p.alpha[i]) > math.Abs(p.alpha[at])) {
				at = i
			}
		}
		if at < 0 || math.Abs(p.alpha[at]) < epsPivot {
			return false
		}
		taken[at], placed[at] = true, q
		pr := p.alpha[at]
		if len(p.alphaN) == 1 && pr == 1 {
			continue
		}
		for k := range m {
			col := p.inv[k*m : (k+1)*m]
			t := col[at]
			if t == 0 {
				continue
			}
			t /= pr
			for _, i := range p.alphaN {
				col[i] -= p.alpha[i] * t
			}
			col[at] = t
		}
		p.mt.spend(int64(m) * int64(len(p.alphaN)) / 4)
	}
	copy(p.basis, placed)
	p.since = 0
	p.refresh()
	return true
}

// value is the cost reached.
func (p *program) value() float64 {
	var sum float64
	for i, j := range p.basis {
		sum += p.cost[j] * p.x[i]
	}
	return sum
}
