package planner

import (
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// TestAddedRowIsKept adds a row to solved programs and holds what comes of
// solving on against solving the whole from the start.
func TestAddedRowIsKept(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(8, 8))
	short := 0
	for round := range 300 {
		rows := 3 + rng.IntN(8)
		rhs := make([]float64, rows)
		for i := range rhs {
			rhs[i] = float64(rng.IntN(9) - 3)
		}
		var spent int64
		columns := make([]lpColumn, 3*rows)
		for j := range columns {
			columns[j].cost = float64(1 + rng.IntN(20))
			for i := range rhs {
				if rng.IntN(2) == 0 {
					columns[j].put(i, float64(rng.IntN(7)-2))
				}
			}
		}
		extra := make([]float64, len(columns))
		for j := range extra {
			extra[j] = float64(rng.IntN(5) - 2)
		}
		limit := float64(rng.IntN(7) - 4)
		build := func(rhs []float64, with bool) (*simplex, []int) {
			sx := newSimplex(rhs)
			sx.spent = &spent
			unit := make([]int, len(rhs))
			for i := range unit {
				unit[i] = sx.add(lpColumn{cost: 50, row: []int32{int32(i)}, val: []float64{1}})
			}
			for j, c := range columns {
				if with {
					c.row, c.val = append([]int32(nil), c.row...), append([]float64(nil), c.val...)
					c.put(rows, extra[j])
				}
				sx.add(c)
			}
			sx.start(unit)
			return sx, unit
		}
		before, unit := build(rhs, false)
		before.solve(10_000)
		was := before.objective()
		after := before.withRow(limit, 50, func(col int) float64 {
			if col < len(unit) {
				return 0
			}
			return extra[col-len(unit)]
		})
		after.solve(10_000)
		whole, _ := build(append(append([]float64(nil), rhs...), limit), true)
		whole.solve(10_000)
		if a, b := after.objective(), whole.objective(); math.Abs(a-b) > 1e-3*(1+math.Abs(b)) {
			t.Fatalf("round %d: %g after adding the row, %g with it from the start", round, a, b)
		}
		if after.objective() > was+1e-6 {
			short++
		}
		if now := before.objective(); now != was {
			t.Fatalf("round %d: the program that was cloned changed from %g to %g", round, was, now)
		}
	}
	if short < 20 {
		t.Errorf("the row cost something in %d of 300 programs only", short)
	}
}

// TestRowsWithoutSurplus holds programs with rows that have no surplus against the same
// with two rows for each, no less and no more.
func TestRowsWithoutSurplus(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(18, 18))
	differ := 0
	for round := range 300 {
		rows := 3 + rng.IntN(8)
		rhs := make([]float64, 2*rows)
		for i := range rows {
			rhs[i] = float64(1 + rng.IntN(6))
			rhs[rows+i] = -inactive
			if rng.IntN(2) == 0 {
				rhs[rows+i] = -rhs[i]
			}
		}
		columns := make([]lpColumn, 3*rows)
		for j := range columns {
			columns[j].cost = float64(1 + rng.IntN(20))
			for i := range rows {
				if rng.IntN(2) == 0 {
					columns[j].put(i, float64(rng.IntN(7)-2))
				}
			}
		}
		solved := func(equal, both bool) float64 {
			var spent int64
			have := rhs[:rows]
			if both {
				have = rhs
			}
			sx := newSimplex(have)
			sx.spent = &spent
			unit := make([]int, len(have))
			for i := range rows {
				sx.equal[i] = equal && rhs[rows+i] > -inactive
				c := lpColumn{cost: 50}
				if c.put(i, 1); both {
					c.put(rows+i, -1)
				}
				unit[i] = sx.add(c)
			}
			for _, c := range columns {
				c.row, c.val = slices.Clone(c.row), slices.Clone(c.val)
				for k := range len(c.row) {
					if both {
						c.put(rows+int(c.row[k]), -c.val[k])
					}
				}
				sx.add(c)
			}
			sx.start(unit)
			sx.solve(10_000)
			return sx.objective()
		}
		with, apart, free := solved(true, false), solved(false, true), solved(false, false)
		if math.Abs(with-apart) > 1e-3*(1+apart) {
			t.Fatalf("round %d: %g without surplus, %g with two rows for each", round, with, apart)
		}
		if with > free+1e-3 {
			differ++
		}
	}
	if differ < 100 {
		t.Errorf("surplus made a difference in %d of 300 programs only", differ)
	}
}

// TestFillingsAreAll holds the fillings of a bath that expires against trying all
// numbers of rolls of each area.
func TestFillingsAreAll(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(9, 9))
	for round := range 200 {
		areas := []int64{10 + rng.Int64N(20), 40 + rng.Int64N(30), 90 + rng.Int64N(50)}
		unused, price := 100+rng.Int64N(400), (1+rng.Int64N(9))*100_000
		rx := &relaxation{m: &model{}, sess: []sessionR{{offers: []offer{{sets: []int{0}}}}}, leads: []lead{{types: []int{0, 1, 2}}}, sets: []setR{{waste: price, unused: unused, area: unused}}}
		var have [3]int64
		for k, a := range areas {
			have[k] = rng.Int64N(6)
			rx.types = append(rx.types, rollType{area: a, n: have[k], late: []int64{0}})
		}
		most, least := rng.Int64N(40), rng.Int64N(20)
		ma := &master{rx: rx}
		got, fillings := ma.fillings(0, least, most)
		want := 0
		for x := range have[0] + 1 {
			for y := range have[1] + 1 {
				for z := range have[2] + 1 {
					if left := unused - x*areas[0] - y*areas[1] - z*areas[2]; left >= 0 && wastedPrice(left, price) >= least && wastedPrice(left, price) <= most {
						want++
					}
				}
			}
		}
		if len(fillings) != want {
			t.Fatalf("round %d: %d fillings, want %d", round, len(fillings), want)
		}
		last := int64(-1)
		for _, f := range fillings {
			left := unused
			for i, n := range f.counts {
				left -= n * got[i]
			}
			if left < 0 || wastedPrice(left, price) != f.wasted || f.wasted < last {
				t.Fatalf("round %d: filling %v of areas %v wastes %d after %d, %d mm² are left", round, f.counts, got, f.wasted, last, left)
			}
			last = f.wasted
		}
	}
}

// TestRowsCount holds the rows that split programs by their counts against the counts
// themselves, and the halves of each split against the whole: neither costs less, and
// each has no more of the count than it may, or no less.
func TestRowsCount(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(22, 22))
	seen := make(map[int]int) // splits by sort
	for range 300 {
		ma := someProgram(rng)
		if ma == nil {
			continue
		}
		ma.li.strict = rng.IntN(2) == 0 // early runs are told apart
		ma.sx.solve(10_000)
		of := func(ma *master, row *resource) float64 {
			var sum float64
			for c := range ma.rx.pool {
				if col := ma.colOf(c); col >= 0 && slices.Contains(row.sessions, ma.rx.pool[c].sess) {
					sum += ma.sx.value(col) * float64(ma.rx.ofContent(row, &ma.rx.pool[c]))
				}
			}
			return sum
		}
		all := ma.counts()
		maps.Copy(all, ma.finer())
		for key, n := range all {
			row := ma.rx.row(key, 1, 0)
			if got := of(ma, &row); math.Abs(got-n) > 1e-6 {
				t.Fatalf("the row of %+v counts %g, not %g", key, got, n)
			}
		}
		for _, c := range fractional(all) {
			for half, row := range ma.halves(c) {
				child := ma.child(row)
				child.sx.solve(10_000)
				if child.sx.objective() < ma.sx.objective()-1e-4 {
					t.Fatalf("half %d of %+v costs %g, the whole %g", half, c, child.sx.objective(), ma.sx.objective())
				}
				short := child.sx.value(len(ma.sx.cols)) * row.unit() // that the row is, for want of contents
				if got := of(child, &row); got > float64(row.cap)+short+1e-4 {
					t.Fatalf("half %d of %+v uses %g of a row of %d, which is %g short", half, c, got, row.cap, short)
				}
			}
			seen[c.key.sort]++
		}
	}
	for _, sort := range []int{countSession, countLead, countSet, countEarly, countRolls, countBoth, countBy, countAfter} {
		if seen[sort] < 5 {
			t.Errorf("splits by sort of count: %v", seen)
		}
	}
}
