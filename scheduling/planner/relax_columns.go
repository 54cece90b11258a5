package planner

import "slices"

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
		if sx.equal[t] {
			ma.extra = append(ma.extra, sx.add(lpColumn{cost: dear, off: true, row: []int32{int32(t)}, val: []float64{-1}}))
		}
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

// usualEntries is how many entries most columns of contents have room in.
const usualEntries = 32

// add makes a column of a content.
func (ma *master) add(at int) {
	rx := ma.rx
	ma.newest = at
	co := &rx.pool[at]
	s := rx.sess[co.sess].index
	if ma.sum == nil {
		ma.sum = make([]float64, len(ma.at))
	}
	sums := ma.sum
	keys := make([]int, 0, usualEntries)
	put := func(row int, v float64) {
		if sums[row] == 0 {
			keys = append(keys, row)
		}
		sums[row] += v
	}
	c := lpColumn{row: make([]int32, 0, usualEntries), val: make([]float64, 0, usualEntries)}
	put(ma.rowSess+co.sess, -1)
	for _, it := range co.items {
		ty := &rx.types[it.typ]
		n := float64(it.n)
		put(it.typ, n)
		late := float64(ty.late[s])
		if !it.early {
			late += float64(ma.li.jumps[co.sess][it.typ])
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
			if row := &ma.li.rows[r]; row.perRoll != nil && row.usedBy(it.set) && !row.spares(co.sess, it.early) {
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
