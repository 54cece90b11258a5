package planner

import (
	"math"
	"math/bits"
	"slices"
)

// A goal is what the relaxation is to minimise, among plans that are no worse
// than given values at the levels above.
type goal struct {
	level int   // the level to minimise; none: only whether there is a plan
	worth worth // values of the levels above, which are not to be exceeded
	upTo  int   // how many levels are bound by worth
	// finish, if not 0, is when all film must be dry.
	finish int64
	// kits, if not nil, says of each set still on the shelf whether it is mixed.
	kits []choice
	// target ends the work once the bound reaches it.
	target int64
	barred *bars // what no plan so good has
}

// A choice is what is settled of a kit.
type choice int8

const (
	open choice = iota
	mixed
	shut
)

// choice is what the goal has settled of a set.
func (ma *master) choice(set int) choice {
	if ma.goal.kits == nil {
		return open
	}
	return ma.goal.kits[set]
}

// none asks whether there is any plan at all: the bound is above 0 when not.
const none = -1

// A master is the linear program of one goal.
type master struct {
	rx    *relaxation
	goal  goal
	li    limits
	sx    *simplex
	scale float64 // prices are in units of 1/scale
	per   float64 // how many units of the level cost 1 in the linear program
	pr    prices
	at    []int // by row: where the linear program has it, −1: nowhere

	rowSess, rowArea, rowKit, rowWaste      int
	rowLate, rowChem, rowRuns, rowOut, rowR int
	art, wasted, left, kit, spare           []int // columns
	col                                     []int // by content in the pool, −1: not there
	paid                                    int64 // for kits that are settled to be mixed

	dear float64   // what an artificial roll costs in the end
	step []float64 // by type: by how much its artificial roll becomes dearer next; nil: it is not cheaper than dear

	sum    []float64
	bound  int64 // best proved so far, scaled
	last   int64 // what the last round proved
	rounds int
	dives  int
	half   bool // of a goal that was split
}

const inactive = 1e15

func (rx *relaxation) master(g goal) *master {
	ma := &master{rx: rx, goal: g, bound: math.MinInt64, per: 1}
	if g.level == chemistry {
		ma.per = 1024
	}
	for s := range rx.sets {
		if rx.sets[s].kit && ma.choice(s) == mixed {
			ma.paid += rx.sets[s].price
		}
	}
	ma.limit()
	types, sess, sets := len(rx.types), len(rx.sess), len(rx.sets)
	ma.rowSess = types
	ma.rowArea = ma.rowSess + sess
	ma.rowKit = ma.rowArea + sets
	ma.rowWaste = ma.rowKit + sets
	ma.rowLate = ma.rowWaste + sets
	ma.rowChem, ma.rowRuns, ma.rowOut, ma.rowR = ma.rowLate+1, ma.rowLate+2, ma.rowLate+3, ma.rowLate+4
	rhs := make([]float64, ma.rowR+len(ma.li.rows))
	for t := range rx.types {
		rhs[t] = float64(rx.types[t].n)
	}
	for i := range rx.sess {
		rhs[ma.rowSess+i] = -1
	}
	for s := range rx.sets {
		se := &rx.sets[s]
		rhs[ma.rowArea+s] = -float64(se.area) / area1
		if se.area >= never {
			rhs[ma.rowArea+s] = -inactive
		}
		if se.kit && ma.choice(s) != mixed {
			rhs[ma.rowArea+s] = 0
		}
		if rhs[ma.rowKit+s] = -1; ma.choice(s) == shut {
			rhs[ma.rowKit+s] = 0
		}
		if se.waste > 0 && se.unused > 0 {
			rhs[ma.rowWaste+s] = float64(se.unused) / area1
		}
	}
	for n, r := range []int{ma.rowLate, ma.rowChem, ma.rowRuns} {
		rhs[r] = -inactive
		if g.upTo > lateness+n {
			rhs[r] = -float64(ma.cap(lateness + n))
			if lateness+n == chemistry {
				rhs[r] /= price1
			}
		}
	}
	rhs[ma.rowOut] = -float64(ma.cap(displaced))
	if g.upTo <= displaced {
		rhs[ma.rowOut] = -inactive
	}
	for r := range ma.li.rows {
		if k := ma.li.rows[r].kit; k < 0 || ma.choice(k) == mixed {
			rhs[ma.rowR+r] = -float64(ma.li.rows[r].cap) / ma.li.rows[r].unit()
		}
	}
	ma.sx = newSimplex(ma.keepRows(rhs))
	ma.sx.spent = &rx.spent
	ma.addFixed()
	for c := range rx.pool {
		if ma.allows(&rx.pool[c]) {
			ma.add(c)
		}
	}
	return ma
}

// area1 is the area that LP rows of sets count in, for the sake of numbers of
// like size.
const area1 = 50_000

// price1 is the same for prices.
const price1 = 1024

// cap is what a plan may have at a level. What a set wastes is rounded down set
// by set, so all sets together are worth less than one unit each more.
func (ma *master) cap(level int) int64 {
	c := ma.goal.worth[level]
	switch level {
	case lateness:
		for i := range ma.rx.m.rolls {
			if !ma.rx.bd.look(i).possible {
				c -= ma.rx.m.rolls[i].out
			}
		}
	case displaced:
		for i := range ma.rx.m.rolls {
			if !ma.rx.bd.look(i).possible {
				c -= ma.rx.m.rolls[i].displacedCount
			}
		}
	case chemistry:
		c += int64(ma.rx.waste) - ma.paid
	}
	return max(c, 0)
}

func (ma *master) limit() {
	rx := ma.rx
	ma.li = limits{length: make([]int64, len(rx.sess)), dry: never, shut: make([]bool, len(rx.sets)), rows: rx.rows, byRow: rx.byRow, barred: ma.goal.barred}
	for s := range rx.sets {
		ma.li.shut[s] = rx.sets[s].kit && ma.choice(s) == shut
	}
	fastest := int64(never)
	for i := range rx.m.rolls {
		fastest = min(fastest, rx.m.rolls[i].fastest)
	}
	for i := range rx.sess {
		ma.li.length[i] = rx.sess[i].length
		if ma.goal.finish > 0 {
			se := &rx.m.sess[rx.sess[i].index]
			ma.li.dry = ma.goal.finish
			ma.li.length[i] = ma.goal.finish - fastest - se.start + rx.m.tanks[se.tank].clean
		}
	}
	if ma.goal.finish > 0 {
		ma.li.rows = slices.Clone(rx.rows)
		for r := range ma.li.rows {
			ma.li.rows[r].cap = ma.li.rows[r].within(ma.goal.finish, ma.goal.finish-fastest)
		}
	}
}

func (ma *master) allows(c *content) bool {
	if c.length > ma.li.length[c.sess] {
		return false
	}
	for _, it := range c.items {
		ty := &ma.rx.types[it.typ]
		if ty.dry[ma.rx.sess[c.sess].index] > ma.li.dry || ma.li.barred.has(it.typ, c.sess) {
			return false
		}
		if se := &ma.rx.sets[it.set]; se.kit && ma.choice(it.set) == shut {
			return false
		}
	}
	return true
}

// on is 1 for the level that the goal minimises, 0 for others.
func (ma *master) on(level int) int64 {
	if ma.goal.level == level {
		return 1
	}
	return 0
}

// cost is what a unit of a level costs in the linear program.
func (ma *master) cost(level int) float64 { return float64(ma.on(level)) / ma.per }

// whole is a dual, per so many units of its row, in whole prices.
func (ma *master) whole(dual, per float64) int64 {
	return int64(max(math.Round(dual*ma.scale*ma.per/per), 0))
}

// addFixed adds the columns that are there from the start: rolls out of reach,
// rolls left out, kits, and what sets waste.
func (ma *master) addFixed() {
	rx, sx := ma.rx, ma.sx
	dear := 1.0 // more than any price of a roll, so that artificial ones are a last resort
	switch ma.goal.level {
	case displaced:
		dear = 4
	case lateness:
		for t := range rx.types {
			dear = max(dear, 4*float64(rx.types[t].out))
		}
	case chemistry:
		for s := range rx.sets {
			dear += float64(rx.sets[s].price) / ma.per
			dear += float64(rx.sets[s].waste) * float64(rx.sets[s].unused) / 1e6 / ma.per
		}
	case runs:
		dear = 6
	case changes:
		dear = 4
	}
	ma.dear = dear
	for t := range rx.types {
		ty := &rx.types[t]
		ma.art = append(ma.art, sx.add(lpColumn{cost: dear, row: []int32{int32(t)}, val: []float64{1}}))
		if ty.held && (ma.goal.upTo > displaced && ma.goal.worth[displaced] == 0) {
			ma.left = append(ma.left, -1)
			continue
		}
		c := lpColumn{cost: ma.cost(lateness)*float64(ty.out) + ma.cost(changes)*float64(ty.movedOut)}
		ma.put(&c, t, 1)
		ma.put(&c, ma.rowLate, -float64(ty.out))
		if ty.held {
			c.cost += ma.cost(displaced)
			ma.put(&c, ma.rowOut, -1)
		}
		ma.left = append(ma.left, sx.add(c))
	}
	for s := range rx.sets {
		se := &rx.sets[s]
		kit, spare, wasted := -1, -1, -1
		if se.kit && ma.choice(s) != mixed {
			c := lpColumn{cost: ma.cost(chemistry) * float64(se.price)}
			ma.put(&c, ma.rowArea+s, float64(min(se.area, 1<<50))/area1)
			ma.put(&c, ma.rowKit+s, -1)
			ma.put(&c, ma.rowChem, -float64(se.price)/price1)
			for r := range ma.li.rows {
				if ma.li.rows[r].kit == s {
					ma.put(&c, ma.rowR+r, float64(ma.li.rows[r].cap)/ma.li.rows[r].unit())
				}
			}
			kit = sx.add(c)
		}
		if se.waste > 0 && se.unused > 0 {
			each := float64(se.waste) / 1e6 * area1
			c := lpColumn{cost: ma.cost(chemistry) * each}
			ma.put(&c, ma.rowWaste+s, 1)
			ma.put(&c, ma.rowChem, -each/price1)
			spare = sx.add(c)
			w := lpColumn{cost: 4*c.cost + 4*dear}
			ma.put(&w, ma.rowWaste+s, 1)
			wasted = sx.add(w)
		}
		ma.kit, ma.spare, ma.wasted = append(ma.kit, kit), append(ma.spare, spare), append(ma.wasted, wasted)
	}
}

// keepRows leaves out of the linear program the rows that nothing can be short of.
func (ma *master) keepRows(rhs []float64) []float64 {
	rx := ma.rx
	idle := func(r int) bool {
		switch {
		case r < ma.rowArea:
			return false
		case r < ma.rowKit:
			return ma.li.shut[r-ma.rowArea]
		case r < ma.rowWaste:
			s := r - ma.rowKit
			return !rx.sets[s].kit || ma.choice(s) != open
		case r < ma.rowLate:
			se := &rx.sets[r-ma.rowWaste]
			return se.waste == 0 || se.unused == 0
		case r < ma.rowR:
			return false
		}
		row := &ma.li.rows[r-ma.rowR]
		if row.most > 0 && row.most <= row.cap {
			return true
		}
		sets := row.sets
		return sets != nil && !slices.ContainsFunc(sets, func(s int) bool { return !ma.li.shut[s] })
	}
	var kept []float64
	for r, b := range rhs {
		if b <= -inactive || idle(r) {
			ma.at = append(ma.at, -1)
			continue
		}
		ma.at = append(ma.at, len(kept))
		kept = append(kept, b)
	}
	return kept
}

// put gives a column an entry in a row, if the linear program has it.
func (ma *master) put(c *lpColumn, row int, val float64) {
	if ma.at[row] >= 0 {
		c.put(ma.at[row], val)
	}
}

// dual is the price of a row; 0 where the linear program does without.
func (ma *master) dual(row int) float64 {
	if ma.at[row] < 0 {
		return 0
	}
	return ma.sx.dual[ma.at[row]]
}

func (c *lpColumn) put(row int, val float64) {
	if val != 0 {
		c.row, c.val = append(c.row, int32(row)), append(c.val, val)
	}
}

// colOf is the column of a content, −1 when there is none.
func (ma *master) colOf(c int) int {
	if c < len(ma.col) {
		return ma.col[c]
	}
	return -1
}

// add makes a column of a content.
func (ma *master) add(at int) {
	rx := ma.rx
	co := &rx.pool[at]
	s := rx.sess[co.sess].index
	if ma.sum == nil {
		ma.sum = make([]float64, len(ma.at))
	}
	sums := ma.sum
	var keys []int
	put := func(row int, v float64) {
		if sums[row] == 0 {
			keys = append(keys, row)
		}
		sums[row] += v
	}
	c := lpColumn{}
	put(ma.rowSess+co.sess, -1)
	for _, it := range co.items {
		ty := &rx.types[it.typ]
		n := float64(it.n)
		put(it.typ, n)
		late := float64(ty.late[s])
		if !it.early {
			late += float64(ty.jump[s])
		}
		put(ma.rowLate, -n*late)
		c.cost += n * (ma.cost(lateness)*late + ma.cost(changes)*float64(ty.moved[s]))
		area := n * float64(ty.area) / area1
		if se := &rx.sets[it.set]; se.kit || se.area < never {
			put(ma.rowArea+it.set, -area)
		}
		if rx.sets[it.set].waste > 0 && rx.sets[it.set].unused > 0 {
			put(ma.rowWaste+it.set, area)
		}
		for _, r := range ma.li.byRow[co.sess] {
			if row := &ma.li.rows[r]; row.perRoll != nil && row.usedBy(it.set) {
				put(ma.rowR+r, -n*float64(row.perRoll[it.typ])/row.unit())
			}
		}
	}
	for _, l := range co.loads {
		o := &rx.sess[co.sess].offers[l.offer]
		put(ma.rowRuns, -float64(l.runs))
		c.cost += ma.cost(runs) * float64(l.runs)
		for _, r := range ma.li.byRow[co.sess] {
			if use := ma.li.rows[r].ofLoad(o, &l); use != 0 {
				put(ma.rowR+r, -float64(use)/ma.li.rows[r].unit())
			}
		}
	}
	for _, row := range keys {
		ma.put(&c, row, sums[row])
		sums[row] = 0
	}
	for len(ma.col) <= at {
		ma.col = append(ma.col, -1)
	}
	ma.col[at] = ma.sx.add(c)
}

// round reads prices off the duals, in whole numbers.
func (ma *master) read() {
	rx := ma.rx
	whole := ma.whole
	p := &ma.pr
	p.roll = p.roll[:0]
	for t := range rx.types {
		p.roll = append(p.roll, whole(ma.dual(t), 1))
	}
	p.area, p.row = p.area[:0], p.row[:0]
	for s := range rx.sets {
		p.area = append(p.area, whole(ma.dual(ma.rowArea+s), area1)-whole(ma.dual(ma.rowWaste+s), area1))
	}
	for r := range ma.li.rows {
		p.row = append(p.row, whole(ma.dual(ma.rowR+r), ma.li.rows[r].unit()))
	}
	unit := int64(ma.scale)
	p.late = whole(ma.dual(ma.rowLate), 1) + ma.on(lateness)*unit
	p.run = whole(ma.dual(ma.rowRuns), 1) + ma.on(runs)*unit
	p.moved = ma.on(changes) * unit
	ma.clip()
}

// clip lowers the prices of rows that ask for runs until no run is worth having for
// its own sake: a content then has as few as it can, and pricing finds the best.
func (ma *master) clip() {
	rx, p, rows := ma.rx, &ma.pr, ma.li.rows
	asks := false
	for r := len(rx.rows); r < len(rows); r++ {
		asks = asks || rows[r].cap < 0 && rows[r].perRun != nil && p.row[r] > 0
	}
	if !asks {
		return
	}
	for i := range rx.sess {
		for k := range rx.sess[i].offers {
			o := &rx.sess[i].offers[k]
			net := p.run
			for _, r := range ma.li.byRow[i] {
				if rows[r].perRun != nil && rows[r].sets == nil {
					net += p.row[r] * rows[r].perRun(o)
				}
			}
			for _, r := range ma.li.byRow[i] {
				if net < 0 && rows[r].perRun != nil && rows[r].perRun(o) < 0 {
					less := min(p.row[r], -net)
					p.row[r] -= less
					net += less
				}
			}
		}
	}
}

// lagrange is the bound that follows from the prices, scaled, once the best
// content of each session is known to be worth no more than given in all.
func (ma *master) lagrange(contents int64) int64 {
	rx, p := ma.rx, &ma.pr
	unit := int64(ma.scale)
	whole := ma.whole
	sum := total{-contents, false}
	late := p.late - ma.on(lateness)*unit
	chem := whole(ma.dual(ma.rowChem), price1)
	run := p.run - ma.on(runs)*unit
	out := whole(ma.dual(ma.rowOut), 1)
	if ma.goal.upTo > lateness {
		sum.add(-late, ma.cap(lateness))
	} else if late > 0 {
		return math.MinInt64
	}
	if ma.goal.upTo > chemistry {
		sum.add(-chem, ma.cap(chemistry))
	} else if chem > 0 {
		return math.MinInt64
	}
	if ma.goal.upTo > runs {
		sum.add(-run, ma.cap(runs))
	} else if run > 0 {
		return math.MinInt64
	}
	if ma.goal.upTo > displaced {
		sum.add(-out, ma.cap(displaced))
	} else if out > 0 {
		return math.MinInt64
	}
	for t := range rx.types {
		ty := &rx.types[t]
		sum.add(p.roll[t], ty.n)
		if ma.left[t] < 0 {
			continue
		}
		c := total{-p.roll[t], false}
		c.add(p.late, ty.out)
		c.add(p.moved, ty.movedOut)
		if ty.held {
			c.add(ma.on(displaced)*unit+out, 1)
		}
		if c.sum < 0 && !c.over {
			sum.add(c.sum, ty.n)
		}
	}
	for r := range ma.li.rows {
		if ma.li.rows[r].kit < 0 { // others are with their kit
			sum.add(-p.row[r], ma.li.rows[r].cap)
		}
	}
	for s := range rx.sets {
		se := &rx.sets[s]
		area, waste := whole(ma.dual(ma.rowArea+s), area1), whole(ma.dual(ma.rowWaste+s), area1)
		switch {
		case se.kit:
			c := total{0, false}
			c.add(ma.on(chemistry)*unit, se.price)
			if ma.choice(s) != mixed {
				c.add(chem, se.price) // else it is in the cap
			}
			if se.area < never {
				c.add(-area, se.area)
			} else if area > 0 {
				return math.MinInt64
			}
			for r := range ma.li.rows {
				if ma.li.rows[r].kit == s {
					c.add(-p.row[r], ma.li.rows[r].cap)
				}
			}
			switch ma.choice(s) {
			case open:
				sum.add(min(c.sum, 0), 1)
			case mixed:
				sum.add(c.sum, 1)
			case shut:
			}
			sum.over = sum.over || c.over
		case se.area < never:
			sum.add(-area, se.area)
		case area > 0:
			return math.MinInt64
		}
		if se.waste > 0 && se.unused > 0 {
			sum.add(waste, se.unused)
			// What a mm² costs, rounded down.
			hi, lo := bits.Mul64(uint64(chem+ma.on(chemistry)*unit), uint64(se.waste))
			if hi >= 1_000_000 {
				return math.MinInt64
			}
			each, _ := bits.Div64(hi, lo, 1_000_000)
			if c := int64(each) - waste; c < 0 {
				sum.add(c, se.unused)
			}
		} else if waste > 0 {
			return math.MinInt64
		}
	}
	if sum.over {
		return math.MinInt64
	}
	return sum.sum
}

// A total is a sum of products that notices when it grows too large.
type total struct {
	sum  int64
	over bool
}

func (t *total) add(a, b int64) {
	hi, lo := bits.Mul64(uint64(max(a, -a)), uint64(max(b, -b)))
	if hi != 0 || lo > 1<<61 {
		t.over = true
		return
	}
	v := int64(lo)
	if (a < 0) != (b < 0) {
		v = -v
	}
	t.sum += v
	if t.sum > 1<<61 || t.sum < -(1<<61) {
		t.over, t.sum = true, 0
	}
}

// proved is the goal's bound in whole units.
func (ma *master) proved() int64 {
	if ma.bound <= 0 {
		return 0
	}
	unit := int64(ma.scale)
	return (ma.bound + unit - 1) / unit
}
