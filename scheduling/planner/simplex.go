package planner

import "math"

// A simplex minimises cost over columns x ≥ 0 subject to rows Σ a·x ≥ rhs, by
// the revised primal method with a dense inverse of the basis. Its answers are
// floating point: they guide, and what is to be proved is proved from them in
// whole numbers (see relaxation.bound).
type simplex struct {
	rhs   []float64
	cols  []lpColumn
	basis []int // by row: a column, or −1−row for the surplus of a row
	at    []int // by column: its row in the basis, −1 when out of it
	slack []int // the same by surplus
	inv   [][]float64
	x     []float64 // by row: the value of its basic column
	dual  []float64

	list   []candidate
	pivots int
	spent  *int64  // elementary steps, of all programs of a relaxation
	row    []int32 // of all columns, one after another
	val    []float64
	work   []float64
}

// An lpColumn is the sparse column of one variable.
type lpColumn struct {
	cost float64
	row  []int32
	val  []float64
	off  bool // not to be used
}

// A candidate is a column that betters the basis.
type candidate struct {
	col     int
	reduced float64
}

const lpEpsilon = 1e-9

// newSimplex begins with no columns. Rows with a positive rhs must be given a
// unit column each before solving; see start.
func newSimplex(rhs []float64) *simplex {
	n := len(rhs)
	sx := &simplex{
		rhs: make([]float64, n), basis: make([]int, n), inv: make([][]float64, n),
		x: make([]float64, n), dual: make([]float64, n), work: make([]float64, n), slack: make([]int, n),
	}
	flat := make([]float64, n*n)
	for i, b := range rhs {
		// A little off, each row differently, so that ties are rare.
		off := 1e-6 * (0.5 + float64(uint32(i+1)*2654435761)/(1<<32))
		sx.rhs[i] = b - off*(1+math.Abs(b)*0.01)
		if b > 0 {
			sx.rhs[i] = b + off
		}
		sx.inv[i] = flat[i*n : (i+1)*n]
	}
	return sx
}

func (sx *simplex) add(c lpColumn) int {
	from := len(sx.row)
	sx.row, sx.val = append(sx.row, c.row...), append(sx.val, c.val...)
	c.row, c.val = sx.row[from:len(sx.row):len(sx.row)], sx.val[from:len(sx.val):len(sx.val)]
	sx.cols = append(sx.cols, c)
	sx.at = append(sx.at, -1)
	return len(sx.cols) - 1
}

// start makes a first basis of surpluses, and in rows with a positive rhs of
// the unit columns given by row.
func (sx *simplex) start(unit []int) {
	for i := range sx.at {
		sx.at[i] = -1
	}
	for i := range sx.basis {
		clear(sx.inv[i])
		sx.slack[i] = -1
		if sx.rhs[i] > 0 {
			sx.basis[i], sx.inv[i][i], sx.x[i] = unit[i], 1, sx.rhs[i]
			sx.at[unit[i]] = i
		} else {
			sx.basis[i], sx.inv[i][i], sx.x[i], sx.slack[i] = -1-i, -1, -sx.rhs[i], i
		}
	}
}

func (sx *simplex) costOf(col int) float64 {
	if col < 0 {
		return 0
	}
	return sx.cols[col].cost
}

// price computes the duals of the basis.
func (sx *simplex) price() {
	clear(sx.dual)
	for i, col := range sx.basis {
		c := sx.costOf(col)
		if c == 0 {
			continue
		}
		for j, v := range sx.inv[i] {
			sx.dual[j] += c * v
		}
	}
}

// reduced is what one unit of a column adds to the cost.
func (sx *simplex) reduced(col int) float64 {
	c := &sx.cols[col]
	sum, val, dual := c.cost, c.val, sx.dual
	for k, r := range c.row {
		sum -= val[k] * dual[r]
	}
	return sum
}

// mostCandidates is how many columns are looked at between full pricings.
const mostCandidates = 24

// candidates prices all columns and lists those that better the basis most.
func (sx *simplex) candidates() {
	sx.price()
	sx.list = sx.list[:0]
	worst := -lpEpsilon
	keep := func(col int, d float64) {
		if d >= worst {
			return
		}
		if len(sx.list) < mostCandidates {
			sx.list = append(sx.list, candidate{col, d})
			if len(sx.list) < mostCandidates {
				return
			}
		} else {
			at := 0
			for i := range sx.list {
				if sx.list[i].reduced > sx.list[at].reduced {
					at = i
				}
			}
			sx.list[at] = candidate{col, d}
		}
		worst = -math.MaxFloat64
		for i := range sx.list {
			worst = max(worst, sx.list[i].reduced)
		}
	}
	for col := range sx.cols {
		if sx.at[col] < 0 && !sx.cols[col].off {
			keep(col, sx.reduced(col))
		}
	}
	for i, d := range sx.dual { // a surplus
		if sx.slack[i] < 0 {
			keep(-1-i, d)
		}
	}
}

// solve pivots until no column betters the basis, or pivots are spent; it
// leaves the duals of the last basis.
func (sx *simplex) solve(most int) {
	for n := 0; n < most; {
		sx.candidates()
		if len(sx.list) == 0 {
			return
		}
		for len(sx.list) > 0 && n < most {
			at, best := -1, -lpEpsilon
			kept := sx.list[:0]
			for _, c := range sx.list {
				if c.col >= 0 {
					c.reduced = sx.reduced(c.col)
				} else {
					c.reduced = sx.dual[-1-c.col]
				}
				if c.reduced >= -lpEpsilon {
					continue
				}
				if c.reduced < best {
					at, best = len(kept), c.reduced
				}
				kept = append(kept, c)
			}
			if sx.list = kept; at < 0 {
				break
			}
			col := sx.list[at].col
			sx.list[at] = sx.list[len(sx.list)-1]
			sx.list = sx.list[:len(sx.list)-1]
			if !sx.enter(col, best) {
				return
			}
			n++
		}
	}
	sx.price()
}

// enter brings a column of the reduced cost into the basis.
func (sx *simplex) enter(col int, reduced float64) bool {
	dir := sx.work
	clear(dir)
	if col >= 0 {
		c := &sx.cols[col]
		for i := range dir {
			row := sx.inv[i]
			var sum float64
			for k, r := range c.row {
				sum += row[r] * c.val[k]
			}
			dir[i] = sum
		}
	} else {
		r := -1 - col
		for i := range dir {
			dir[i] = -sx.inv[i][r]
		}
	}
	leave, step := -1, math.Inf(1)
	for i, d := range dir {
		if d <= 1e-7 {
			continue
		}
		ratio := math.Max(sx.x[i], 0) / d
		if ratio < step-1e-12 || ratio <= step+1e-12 && (leave < 0 || d > dir[leave]) {
			step, leave = ratio, i
		}
	}
	if leave < 0 {
		return false
	}
	sx.pivots++
	*sx.spent += int64(len(sx.basis)) * int64(len(sx.basis))
	pivot := dir[leave]
	lead := sx.inv[leave]
	for j := range lead {
		lead[j] /= pivot
	}
	for i, d := range dir {
		if i == leave || math.Abs(d) < 1e-12 {
			continue
		}
		row := sx.inv[i]
		for j, v := range lead {
			row[j] -= d * v
		}
		sx.x[i] -= step * d
	}
	sx.x[leave] = step
	for j, v := range lead {
		sx.dual[j] += reduced * v
	}
	sx.place(sx.basis[leave], -1)
	sx.basis[leave] = col
	sx.place(col, leave)
	return true
}

func (sx *simplex) place(col, row int) {
	if col < 0 {
		sx.slack[-1-col] = row
	} else {
		sx.at[col] = row
	}
}

// objective is the cost of the basis.
func (sx *simplex) objective() float64 {
	var sum float64
	for i, col := range sx.basis {
		sum += sx.costOf(col) * sx.x[i]
	}
	return sum
}

// value is how much of a column there is.
func (sx *simplex) value(col int) float64 {
	if at := sx.at[col]; at >= 0 {
		return sx.x[at]
	}
	return 0
}
