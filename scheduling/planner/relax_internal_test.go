package planner

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// TestSimplexIsOptimal holds random covering programs against duality: no column
// betters the last basis, and its duals are worth what it costs.
func TestSimplexIsOptimal(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(4, 4))
	for range 300 {
		rows := 2 + rng.IntN(8)
		rhs := make([]float64, rows)
		for i := range rhs {
			rhs[i] = float64(rng.IntN(9) - 3)
		}
		sx := newSimplex(rhs)
		var spent int64
		sx.spent = &spent
		unit := make([]int, rows)
		for i := range unit {
			unit[i] = sx.add(lpColumn{cost: 50, row: []int32{int32(i)}, val: []float64{1}})
		}
		for range 3 * rows {
			c := lpColumn{cost: float64(1 + rng.IntN(20))}
			for i := range rhs {
				if rng.IntN(2) == 0 {
					c.put(i, float64(rng.IntN(7)-2))
				}
			}
			sx.add(c)
		}
		sx.start(unit)
		sx.solve(10_000)
		var dual float64
		for i, d := range sx.dual {
			if d < -1e-6 {
				t.Fatalf("dual %d is %g", i, d)
			}
			dual += d * sx.rhs[i]
		}
		for col := range sx.cols {
			if d := sx.reduced(col); d < -1e-6 {
				t.Fatalf("column %d would better the basis by %g", col, d)
			}
		}
		if obj := sx.objective(); math.Abs(obj-dual) > 1e-5*(1+math.Abs(obj)) {
			t.Fatalf("costs %g, duals %g", obj, dual)
		}
	}
}

// TestBoxCountsRuns holds the number of runs for every load of a box against
// trying all ways of filling runs.
func TestBoxCountsRuns(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(5, 5))
	for range 40 {
		heights := []int{20 + rng.IntN(50), 20 + rng.IntN(50)}
		room := 100 + rng.IntN(100)
		b := &box{size: []int{6, 5}, holds: []int64{1, 1}, most: 30}
		patterns := stacks(room, heights)
		b.full = maximal(patterns)
		b.fill(30)
		o := &offer{warm: rng.Int64N(30), loads: []int64{1 + rng.Int64N(10), 1 + rng.Int64N(10)}}
		b.prepare(patterns, o, 100)
		for x := range 6 {
			for y := range 5 {
				got, want := int(b.runs[x*5+y]), fewest(heights, room, x, y, nil)
				if got != want {
					t.Fatalf("heights %v in %d: %d and %d need %d runs, not %d", heights, room, x, y, want, got)
				}
				split := b.split([]int{x, y})
				if len(split) != want {
					t.Fatalf("%d and %d are split into %v, want %d runs", x, y, split, want)
				}
				var prep int64
				for _, n := range split {
					prep += max(o.warm, int64(n[0])*o.loads[0]+int64(n[1])*o.loads[1])
				}
				if want := soonest(patterns, o, 100, x, y) - int64(len(split)-1)*100 - 100; len(split) > 0 && b.prep[x*5+y] != want {
					t.Fatalf("%d and %d take %d to prepare, want %d; split %v", x, y, b.prep[x*5+y], want, split)
				}
				if prep < b.prep[x*5+y] {
					t.Fatalf("%d and %d are split into %v, prepared in %d, sooner than %d", x, y, split, prep, b.prep[x*5+y])
				}
			}
		}
	}
}

// stacks are all numbers of reels of two heights that fit in a tank.
func stacks(room int, heights []int) [][]int {
	var out [][]int
	for x := 0; x*heights[0] <= room; x++ {
		for y := 0; x*heights[0]+y*heights[1] <= room; y++ {
			out = append(out, []int{x, y})
		}
	}
	return out
}

// soonest tries all ways of taking reels apart into runs of so much wet time, for
// the least time in all.
func soonest(patterns [][]int, o *offer, wet int64, x, y int) int64 {
	if x == 0 && y == 0 {
		return 0
	}
	best := int64(math.MaxInt64)
	for _, p := range patterns {
		if p[0] <= x && p[1] <= y && p[0]+p[1] > 0 {
			prep := max(o.warm, int64(p[0])*o.loads[0]+int64(p[1])*o.loads[1])
			best = min(best, wet+prep+soonest(patterns, o, wet, x-p[0], y-p[1]))
		}
	}
	return best
}

// fewest places reels one by one in every run there is or a new one.
func fewest(heights []int, room, x, y int, used []int) int {
	kind := 0
	switch {
	case x > 0:
		x--
	case y > 0:
		y, kind = y-1, 1
	default:
		return len(used)
	}
	best := math.MaxInt
	for i, u := range used {
		if u+heights[kind] <= room && slices.Index(used, u) == i {
			used[i] += heights[kind]
			best = min(best, fewest(heights, room, x, y, used))
			used[i] -= heights[kind]
		}
	}
	return min(best, fewest(heights, room, x, y, append(slices.Clone(used), heights[kind])))
}

// TestOrShift moves sums up by any distance.
func TestOrShift(t *testing.T) {
	t.Parallel()
	for by := int64(0); by < 130; by++ {
		src := []uint64{1<<5 | 1<<63, 1, 0, 0, 0}
		dst := make([]uint64, len(src))
		orShift(dst, src, by)
		for _, at := range []int64{5, 63, 64} {
			if v := at + by; dst[v/64]>>(v%64)&1 == 0 {
				t.Errorf("%d moved by %d is lost", at, by)
			}
		}
	}
}
