package planner

// clone is a program with the same rows, columns and basis.
func (sx *simplex) clone() *simplex {
	c := sx.shared()
	n := len(sx.rhs)
	flat := make([]float64, n*n)
	c.inv = make([][]float64, n)
	for i := range n {
		c.inv[i] = flat[i*n : (i+1)*n]
		copy(c.inv[i], sx.inv[i])
	}
	return c
}

// withRow is a clone with a row more; see addRow.
func (sx *simplex) withRow(rhs, dear float64, entry func(col int) float64) *simplex {
	c := sx.shared()
	c.inv = sx.inv // which addRow leaves as it is
	c.addRow(rhs, dear, entry)
	return c
}

// shared is a clone without an inverse.
func (sx *simplex) shared() *simplex {
	n := len(sx.rhs)
	c := &simplex{spent: sx.spent, entries: sx.entries, work: make([]float64, n), lead: make([]float64, n), slackWeight: make([]float64, n)}
	c.rhs, c.basis, c.slack = append([]float64(nil), sx.rhs...), append([]int(nil), sx.basis...), append([]int(nil), sx.slack...)
	c.equal = append([]bool(nil), sx.equal...)
	c.x, c.dual = append([]float64(nil), sx.x...), append([]float64(nil), sx.dual...)
	c.cols, c.at = append(make([]lpColumn, 0, len(sx.cols)+16), sx.cols...), append(make([]int, 0, len(sx.at)+16), sx.at...)
	return c
}

// trim drops columns that are not in the basis, those not to keep; it gives where
// each column is now, −1 for those dropped. The duals must be those of the basis.
func (sx *simplex) trim(keep func(col int, gain float64) bool) []int {
	to := make([]int, len(sx.cols))
	n := 0
	for j := range sx.cols {
		if to[j] = -1; sx.at[j] >= 0 || keep(j, sx.reduced(j)) {
			to[j] = n
			sx.cols[n], sx.at[n] = sx.cols[j], sx.at[j]
			n++
		}
	}
	sx.cols, sx.at = sx.cols[:n], sx.at[:n]
	for i, col := range sx.basis {
		if col >= 0 {
			sx.basis[i] = to[col]
		}
	}
	var row []int32
	var val []float64
	for j := range sx.cols {
		c := &sx.cols[j]
		from := len(row)
		row, val = append(row, c.row...), append(val, c.val...)
		c.row, c.val = row[from:len(row):len(row)], val[from:len(val):len(val)]
	}
	sx.row, sx.val, sx.entries, sx.gain, sx.weight = row, val, len(row), nil, nil
	return to
}

// addRow adds a row, of given entries by column. What the basis is short of it is
// made good by a column of its own, at a cost.
func (sx *simplex) addRow(rhs, dear float64, entry func(col int) float64) {
	n := len(sx.rhs)
	flat := make([]float64, (n+1)*(n+1))
	inv := make([][]float64, n+1)
	for j := range inv {
		inv[j] = flat[j*(n+1) : (j+1)*(n+1)]
	}
	part := make([]float64, n) // of the basic columns in the new row
	at := -rhs
	for i, col := range sx.basis {
		if col >= 0 {
			part[i] = entry(col)
			at += part[i] * sx.x[i]
		}
	}
	sign := 1.0 // of the surplus, or of what makes good
	if at < 0 {
		sign = -1
	}
	for j, column := range sx.inv {
		copy(inv[j], column)
		var sum float64
		for i, v := range part {
			sum += v * column[i]
		}
		inv[j][n] = sign * sum
	}
	inv[n][n] = -sign
	sx.inv = inv
	for col := range sx.cols {
		if v := entry(col); v != 0 {
			c := &sx.cols[col]
			c.row = append(c.row[:len(c.row):len(c.row)], int32(n)) // #nosec G115 -- a number of rows
			c.val = append(c.val[:len(c.val):len(c.val)], v)
		}
	}
	sx.rhs, sx.x, sx.dual, sx.work = append(sx.rhs, rhs), append(sx.x, sign*at), append(sx.dual, 0), append(sx.work, 0)
	sx.lead, sx.slackWeight, sx.equal = append(sx.lead, 0), append(sx.slackWeight, 1), append(sx.equal, false)
	short := sx.add(lpColumn{cost: dear, row: []int32{int32(n)}, val: []float64{1}}) // #nosec G115 -- a number of rows
	if at >= 0 {
		sx.basis, sx.slack = append(sx.basis, -1-n), append(sx.slack, n)
		return
	}
	sx.basis, sx.slack, sx.at[short] = append(sx.basis, short), append(sx.slack, -1), n
}
