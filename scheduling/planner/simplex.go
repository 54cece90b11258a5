package planner

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
)

// A simplex minimises cost over columns x ≥ 0 subject to rows Σ a·x ≥ rhs, or = rhs
// where they have no surplus, by the revised primal method with a dense inverse of the
// basis. Columns are chosen by Devex (Harris 1973), which takes half as many pivots as
// the least reduced cost. Its answers are floating point: they guide, and what is to be proved is
// proved from them in whole numbers (see master.lagrange).
type simplex struct {
	rhs   []float64
	cols  []lpColumn
	basis []int       // by row: a column, or −1−row for the surplus of a row
	at    []int       // by column: its row in the basis, −1 when out of it
	slack []int       // the same by surplus
	equal []bool      // by row: it has no surplus
	inv   [][]float64 // the inverse by column, that is by row of the program
	x     []float64   // by row: the value of its basic column
	dual  []float64

	pivots      int
	gain        []float64 // by column: what one unit of it adds to the cost
	weight      []float64 // by column: how long its way is, squared
	slackWeight []float64 // the same by surplus
	least       float64   // a gain nearer to 0 is rounding
	near        []int     // columns that may soon better the basis: others are not looked at meanwhile
	sample      []float64
	lead        []float64 // a row of the inverse
	spent       *int64    // elementary steps, of all programs of a relaxation
	row         []int32   // of all columns, one after another
	val         []float64
	entries     int // of all columns
	work        []float64
	some        []int // rows that a pivot changes
}

// An lpColumn is the sparse column of one variable.
type lpColumn struct {
	cost float64
	row  []int32
	val  []float64
	off  bool // not to be used
}

const (
	lpEpsilon  = 1e-9
	leastPivot = 1e-7 // a smaller one would spoil the inverse
)

// newSimplex begins with no columns. Rows with a positive rhs must be given a
// unit column each before solving; see start.
func newSimplex(rhs []float64) *simplex {
	n := len(rhs)
	sx := &simplex{
		rhs: make([]float64, n), basis: make([]int, n), inv: make([][]float64, n),
		x: make([]float64, n), dual: make([]float64, n), work: make([]float64, n), slack: make([]int, n), equal: make([]bool, n),
		lead: make([]float64, n), slackWeight: make([]float64, n),
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
	sx.entries += len(c.row)
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
	costs := sx.work
	var paid []int // rows whose column costs something
	for i, col := range sx.basis {
		if costs[i] = sx.costOf(col); costs[i] != 0 {
			paid = append(paid, i)
		}
	}
	for j, column := range sx.inv {
		var sum float64
		for _, i := range paid {
			sum += costs[i] * column[i]
		}
		sx.dual[j] = sum
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

// betweenPrices is after how many pivots duals are worked out afresh.
const betweenPrices = 1_000

// solve pivots until no column betters the basis, or pivots are spent; it
// leaves the duals of the last basis.
func (sx *simplex) solve(most int) {
	for n := 0; n < most; {
		sx.begin()
		any := false
		for last := min(n+betweenPrices, most); n < last; n++ {
			col, found := sx.choose()
			if !found {
				break
			}
			if !sx.enter(col) {
				return
			}
			any = true
		}
		if !any {
			return
		}
	}
	sx.price()
}

// begin works out what all columns add to the cost, and forgets what was learnt
// of their lengths.
func (sx *simplex) begin() {
	sx.price()
	for len(sx.gain) < len(sx.cols) {
		sx.gain, sx.weight = append(sx.gain, 0), append(sx.weight, 1)
	}
	for col := range sx.cols {
		sx.gain[col], sx.weight[col] = sx.reduced(col), 1
	}
	sx.look()
	dearest := 1.0
	for i, d := range sx.dual {
		sx.slackWeight[i] = 1
		dearest = max(dearest, d)
	}
	sx.least = lpEpsilon * dearest
}

// How many columns are looked at between two looks at all, about, and by how many
// of them it is guessed how much those may add to the cost.
const (
	mostNear = 80
	samples  = 64
)

// look chooses the columns to look at until none of them betters the basis.
func (sx *simplex) look() {
	far := math.Inf(1)
	if n := len(sx.cols); n > mostNear {
		sx.sample = sx.sample[:0]
		for k := range samples {
			if col := k * n / samples; sx.at[col] < 0 && !sx.cols[col].off {
				sx.sample = append(sx.sample, sx.gain[col])
			}
		}
		slices.Sort(sx.sample)
		if at := len(sx.sample) * mostNear / n; at < len(sx.sample) {
			far = max(sx.sample[at], 0)
		}
	}
	sx.near = sx.near[:0]
	for col, d := range sx.gain {
		if d <= far && sx.at[col] < 0 && !sx.cols[col].off {
			sx.near = append(sx.near, col)
		}
	}
}

// choose finds the column that betters the basis most for the length of its
// way, as far as that is known (Devex: Harris 1973).
func (sx *simplex) choose() (col int, found bool) {
	best := 0.0
	for _, j := range sx.near {
		if d := sx.gain[j]; d < -sx.least && d*d > best*sx.weight[j] && sx.at[j] < 0 {
			best, col, found = d*d/sx.weight[j], j, true
		}
	}
	for i, d := range sx.dual { // a surplus
		if d < -sx.least && d*d > best*sx.slackWeight[i] && sx.slack[i] < 0 && !sx.equal[i] {
			best, col, found = d*d/sx.slackWeight[i], -1-i, true
		}
	}
	return col, found
}

// enter brings a column into the basis.
func (sx *simplex) enter(col int) bool {
	dir := sx.work
	clear(dir)
	if col >= 0 {
		c := &sx.cols[col]
		for k, r := range c.row {
			floats.AddScaled(dir, c.val[k], sx.inv[r])
		}
	} else {
		floats.AddScaled(dir, -1, sx.inv[-1-col])
	}
	leave := sx.leaving()
	if leave < 0 {
		return false
	}
	sx.pivots++
	*sx.spent += int64(len(sx.basis))*int64(len(sx.basis))/2 + int64(sx.entries)
	step := max(sx.x[leave], 0) / dir[leave]
	sx.reprice(col, leave)
	sx.update(leave, step)
	sx.place(sx.basis[leave], -1)
	sx.basis[leave] = col
	sx.place(col, leave)
	return true
}

// leaving is the row that lets the direction in work go least far; of those about
// as near the one with the greatest pivot (Harris 1973), for the sake of accuracy.
// −1 when none stops it.
func (sx *simplex) leaving() int {
	far := math.Inf(1)
	for i, d := range sx.work {
		if d > leastPivot {
			far = min(far, (max(sx.x[i], 0)+lpEpsilon)/d)
		}
	}
	leave := -1
	for i, d := range sx.work {
		if d > leastPivot && max(sx.x[i], 0) <= far*d && (leave < 0 || d > sx.work[leave]) {
			leave = i
		}
	}
	return leave
}

// reprice changes the duals, what columns add to the cost, and their weights for
// a column to take the place of the one in row leave.
func (sx *simplex) reprice(col, leave int) {
	lead, pivot := sx.lead, sx.work[leave]
	for j, column := range sx.inv {
		lead[j] = column[leave] / pivot
	}
	var reduced, weight float64
	if col >= 0 {
		reduced, weight = sx.gain[col], sx.weight[col]
	} else {
		reduced, weight = sx.dual[-1-col], sx.slackWeight[-1-col]
	}
	for _, j := range sx.near {
		if sx.at[j] >= 0 {
			continue
		}
		var along float64
		c := &sx.cols[j]
		for k, r := range c.row {
			along += lead[r] * c.val[k]
		}
		if along != 0 {
			sx.gain[j] -= reduced * along
			sx.weight[j] = max(sx.weight[j], along*along*weight)
		}
	}
	for i, along := range lead {
		sx.dual[i] += reduced * along
		sx.slackWeight[i] = max(sx.slackWeight[i], along*along*weight)
	}
	out := max(weight/(pivot*pivot), 1)
	if old := sx.basis[leave]; old >= 0 {
		sx.gain[old], sx.weight[old] = -reduced/pivot, out
		if !sx.cols[old].off && !slices.Contains(sx.near, old) {
			sx.near = append(sx.near, old)
		}
	} else {
		sx.slackWeight[-1-old] = out
	}
}

// update changes the inverse and the values for the column whose
// direction is in work to take the place of the one in row leave. Columns of the
// inverse without a part in that row, most of them while most surpluses are in
// the basis, stay as they are.
func (sx *simplex) update(leave int, step float64) {
	dir := sx.work
	pivot := dir[leave]
	sx.some = sx.some[:0]
	for i, d := range dir {
		if math.Abs(d) < 1e-12 {
			dir[i] = 0
		} else if sx.x[i] -= step * d; i != leave {
			sx.some = append(sx.some, i)
		}
	}
	sx.x[leave] = step
	dir[leave] = 0
	few := len(sx.some) < len(dir)/4
	for _, column := range sx.inv {
		v := column[leave]
		if v == 0 {
			continue
		}
		v /= pivot
		if few {
			for _, i := range sx.some {
				column[i] -= v * dir[i]
			}
		} else {
			floats.AddScaled(column, -v, dir)
		}
		column[leave] = v
	}
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
