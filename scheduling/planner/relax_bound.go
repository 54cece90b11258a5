package planner

import (
	"math"
	"math/bits"
)

// whole is a dual, per so many units of its row, in whole prices.
func (ma *master) whole(dual, per float64) int64 {
	return int64(max(math.Round(dual*ma.scale*ma.per/per), 0))
}

// wholeRoll is what one roll of a type is worth, in whole prices: less than nothing
// where it is wanted nowhere.
func (ma *master) wholeRoll(t int) int64 {
	return int64(math.Round(ma.dual(t) * ma.scale * ma.per))
}

// read reads prices off the duals, in whole numbers.
func (ma *master) read() {
	rx := ma.rx
	whole := ma.whole
	p := &ma.pr
	p.roll = p.roll[:0]
	for t := range rx.types {
		p.roll = append(p.roll, ma.wholeRoll(t))
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
}

// lagrange is the bound that follows from the prices, scaled, once the best
// content of each session is known to be worth no more than given in all;
// math.MinInt64 where the numbers grow too large, or a price is of nothing.
func (ma *master) lagrange(contents int64) int64 {
	sum := total{-contents, false}
	ma.addCaps(&sum)
	ma.addRolls(&sum)
	for r := range ma.li.rows {
		if ma.li.rows[r].kit < 0 { // others are with their kit
			sum.add(-ma.pr.row[r], ma.li.rows[r].cap)
		}
	}
	for s := range ma.rx.sets {
		ma.addSet(&sum, s)
	}
	if sum.over {
		return math.MinInt64
	}
	return sum.sum
}

// addCaps adds what the levels above may have, at the prices of their rows.
func (ma *master) addCaps(sum *total) {
	unit := int64(ma.scale)
	for level, price := range []int64{
		displaced: ma.whole(ma.dual(ma.rowOut), 1),
		lateness:  ma.pr.late - ma.on(lateness)*unit,
		chemistry: ma.whole(ma.dual(ma.rowChem), price1),
		runs:      ma.pr.run - ma.on(runs)*unit,
	} {
		if ma.goal.upTo > level {
			sum.add(-price, ma.cap(level))
		} else if price > 0 {
			sum.over = true
		}
	}
}

// addRolls adds what rolls are worth at the prices of their rows, and what is
// gained by leaving them out.
func (ma *master) addRolls(sum *total) {
	p := &ma.pr
	for t := range ma.rx.types {
		ty := &ma.rx.types[t]
		sum.add(p.roll[t], ty.n)
		if ma.left[t] < 0 {
			continue
		}
		c := total{-p.roll[t], false}
		c.add(p.late, ty.out)
		c.add(p.moved, ty.movedOut)
		if ty.held {
			c.add(ma.on(displaced)*int64(ma.scale)+ma.whole(ma.dual(ma.rowOut), 1), 1)
		}
		if c.sum < 0 && !c.over {
			sum.add(c.sum, ty.n)
		}
	}
}

// addSet adds what a set's area and its baths' time are worth, less what mixing it
// costs, and what it wastes.
func (ma *master) addSet(sum *total, s int) {
	se := &ma.rx.sets[s]
	unit := int64(ma.scale)
	chem := ma.whole(ma.dual(ma.rowChem), price1)
	area, waste := ma.whole(ma.dual(ma.rowArea+s), area1), ma.whole(ma.dual(ma.rowWaste+s), area1)
	if se.area >= never && area > 0 {
		sum.over = true
		return
	}
	switch {
	case se.kit:
		c := total{0, false}
		c.add(ma.on(chemistry)*unit, se.price)
		if ma.choice(s) != mixed {
			c.add(chem, se.price) // else it is in the cap
		}
		if se.area < never {
			c.add(-area, se.area)
		}
		for r := range ma.li.rows {
			if ma.li.rows[r].kit == s {
				c.add(-ma.pr.row[r], ma.li.rows[r].cap)
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
	}
	switch {
	case se.waste > 0 && se.unused > 0:
		sum.add(waste, se.unused)
		// What a mm² costs, rounded down.
		if c := wastedPrice(chem+ma.on(chemistry)*unit, se.waste) - waste; c < 0 {
			sum.add(c, se.unused)
		}
	case waste > 0:
		sum.over = true
	}
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
