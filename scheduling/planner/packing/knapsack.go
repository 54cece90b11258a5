package packing

import "slices"

// one is the value of a whole bin: values of things are whole numbers of its
// parts. 2^36 leaves room in 64 bits for the sum over 100,000 things.
const one = int64(1) << 36

// A knapsack finds patterns of great value. It goes through the types in order,
// and prunes by tables that hold, for each suffix of the types and each room,
// the greatest value of a relaxation to one dimension. For one dimension, as
// long as the table is not rounded, this makes no false step.
type knapsack struct {
	in     *instance
	value  []int64 // by type
	most   []int   // copies of each type at most
	mt     *meter
	tables []table

	// The state of a descent, by its depth.
	left []int64 // depth × dims
	at   []int   // depth × tables: the room in each
	pat  pattern
}

// A table is a relaxation to one dimension: best[i*(room+1)+c] is the greatest
// value of types i, i+1, … whose weights sum to at most c.
type table struct {
	weight []int
	room   int
	best   []int64
}

// mostCells bounds the cells of a table, 8 bytes each.
const mostCells = 4_000_000

// finest is the room of a table that sums several dimensions.
const finest = 1000

func newKnapsack(in *instance, mt *meter) *knapsack {
	k := &knapsack{in: in, mt: mt, value: make([]int64, len(in.size)), most: make([]int, len(in.size))}
	for t := range in.size {
		k.most[t] = in.copies(t)
	}
	resolution := max(mostCells/(len(in.size)+1), 100)
	for d := range in.room {
		if in.room[d] == 0 {
			continue
		}
		weights := make([]float64, in.dims)
		weights[d] = 1
		k.tables = append(k.tables, in.table(weights, int(min(in.room[d], int64(resolution))), nil))
	}
	if in.dims > 1 {
		// Room for the relaxation that sums dimensions; its weights follow the values.
		k.tables = append(k.tables, table{})
	}
	return k
}

// copies is how many things of a type one bin can hold.
func (in *instance) copies(t int) int {
	n := int64(in.demand[t])
	for d, s := range in.size[t] {
		if s > 0 {
			n = min(n, in.room[d]/s)
		}
	}
	if in.apart != nil && in.apart[t][t] {
		n = min(n, 1)
	}
	return int(n)
}

// table sums dimensions by weights that add up to 1, and rounds sizes down so
// that nothing that fits is lost. best, if not nil, is used again.
func (in *instance) table(weights []float64, room int, best []int64) table {
	tb := table{room: room, weight: make([]int, len(in.size))}
	for t, size := range in.size {
		exact := -1
		var sum float64
		for d, w := range weights {
			switch {
			case w == 1 && in.room[d] == int64(room):
				exact = int(size[d])
			case in.room[d] > 0:
				sum += w * float64(size[d]) / float64(in.room[d])
			}
		}
		if exact >= 0 {
			tb.weight[t] = exact
		} else {
			// Less a little, lest floating point rounds up.
			tb.weight[t] = max(int(sum*float64(room)-1e-7), 0)
		}
	}
	if tb.best = best; best == nil {
		tb.best = make([]int64, (len(in.size)+1)*(room+1))
	}
	return tb
}

// price takes new values over and fills the tables.
func (k *knapsack) price(value []int64) {
	copy(k.value, value)
	if k.in.dims > 1 {
		last := &k.tables[len(k.tables)-1]
		*last = k.in.table(k.surrogate(), finest, last.best)
	}
	for i := range k.tables {
		k.fill(&k.tables[i])
	}
}

func (k *knapsack) fill(tb *table) {
	n, width := len(k.value), tb.room+1
	clear(tb.best[n*width:])
	for t := n - 1; t >= 0; t-- {
		row, below := tb.best[t*width:(t+1)*width], tb.best[(t+1)*width:(t+2)*width]
		copy(row, below)
		v, w := k.value[t], tb.weight[t]
		switch {
		case v <= 0 || k.most[t] == 0 || w > tb.room:
			k.mt.spend(int64(width) / 8)
		case w == 0:
			for c := range row {
				row[c] += v * int64(k.most[t])
			}
			k.mt.spend(int64(width))
		case k.most[t] >= tb.room/w:
			for c := w; c < width; c++ {
				row[c] = max(row[c], row[c-w]+v)
			}
			k.mt.spend(int64(width))
		default:
			for range k.most[t] {
				for c := width - 1; c >= w; c-- {
					row[c] = max(row[c], row[c-w]+v)
				}
			}
			k.mt.spend(int64(width) * int64(k.most[t]))
		}
	}
}

// surrogate gives the weights of dimensions for which the fractional knapsack
// is least, of a grid.
func (k *knapsack) surrogate() []float64 {
	steps := 8
	if k.in.dims > 3 {
		steps = 3
	}
	if k.in.dims > 5 {
		even := make([]float64, k.in.dims)
		for d := range even {
			even[d] = 1 / float64(k.in.dims)
		}
		return even
	}
	best, bestValue := []float64(nil), 0.0
	weights := make([]int, k.in.dims)
	floats := make([]float64, k.in.dims)
	var grid func(d, left int)
	grid = func(d, left int) {
		if d == k.in.dims-1 {
			weights[d] = left
			for i, w := range weights {
				floats[i] = float64(w) / float64(steps)
			}
			if v := k.fractional(floats); best == nil || v < bestValue {
				best, bestValue = slices.Clone(floats), v
			}
			return
		}
		for w := 0; w <= left; w++ {
			weights[d] = w
			grid(d+1, left-w)
		}
	}
	grid(0, steps)
	return best
}

// fractional is the value of the fractional knapsack with weighted dimensions.
func (k *knapsack) fractional(weights []float64) float64 {
	type thing struct{ value, weight float64 }
	var things []thing
	var sum float64
	for t, v := range k.value {
		if v <= 0 || k.most[t] == 0 {
			continue
		}
		var w float64
		for d, s := range k.in.size[t] {
			if k.in.room[d] > 0 {
				w += weights[d] * float64(s) / float64(k.in.room[d])
			}
		}
		n := float64(k.most[t])
		if w == 0 {
			sum += n * float64(v)
		} else {
			things = append(things, thing{n * float64(v), n * w})
		}
	}
	k.mt.spend(int64(len(things)) * 20)
	slices.SortFunc(things, func(a, b thing) int {
		switch x, y := a.value*b.weight, b.value*a.weight; {
		case x > y:
			return -1
		case x < y:
			return 1
		}
		return 0
	})
	left := 1.0
	for _, th := range things {
		if th.weight >= left {
			return sum + th.value*left/th.weight
		}
		left -= th.weight
		sum += th.value
	}
	return sum
}

// start empties the bin for a descent.
func (k *knapsack) start() {
	d := k.in.dims
	if len(k.left) < d {
		k.left = make([]int64, d)
		k.at = make([]int, len(k.tables))
	}
	copy(k.left, k.in.room)
	for i := range k.tables {
		k.at[i] = k.tables[i].room
	}
	k.pat = k.pat[:0]
}

// bound is the most that types from t on can add, at a depth.
func (k *knapsack) bound(t, depth int) int64 {
	at := k.at[depth*len(k.tables):]
	least := int64(1) << 62
	for i := range k.tables {
		tb := &k.tables[i]
		least = min(least, tb.best[t*(tb.room+1)+at[i]])
	}
	return least
}

// put makes the rooms of the next depth: those of this one less n things of t.
// It says whether they fit.
func (k *knapsack) put(t, n, depth int) bool {
	d, q := k.in.dims, len(k.tables)
	for len(k.left) < (depth+2)*d {
		k.left = append(k.left, 0)
	}
	for len(k.at) < (depth+2)*q {
		k.at = append(k.at, 0)
	}
	size := k.in.size[t]
	for i := range d {
		left := k.left[depth*d+i] - size[i]*int64(n)
		if left < 0 {
			return false
		}
		k.left[(depth+1)*d+i] = left
	}
	for i := range q {
		k.at[(depth+1)*q+i] = max(k.at[depth*q+i]-k.tables[i].weight[t]*n, 0)
	}
	return true
}

// bestOf finds the most valuable pattern among those whose first type is t and
// that are worth more than floor; its value is floor when there is none. It
// gives up when the steps are used up, and says so.
func (k *knapsack) bestOf(t int, floor int64, steps *int) (pattern, int64) {
	k.start()
	var best pattern
	var descend func(from, depth int, value int64)
	descend = func(from, depth int, value int64) {
		if value > floor {
			floor, best = value, append(best[:0], k.pat...)
		}
		for i := from; i < len(k.value) && *steps > 0; i++ {
			*steps--
			if value+k.bound(i, depth) <= floor {
				return
			}
			if k.value[i] <= 0 {
				continue
			}
			k.each(i, depth, value, descend)
		}
	}
	if k.value[t] > 0 && k.bound(t, 0) > floor {
		k.each(t, 0, 0, descend)
	}
	return best, floor
}

// each goes on with most things of a type that fit, then with fewer, to one.
func (k *knapsack) each(i, depth int, value int64, descend func(from, depth int, value int64)) {
	n := k.most[i]
	if n == 0 || !k.in.joins(i, k.pat) {
		return
	}
	for d, s := range k.in.size[i] {
		if s > 0 {
			n = min(n, int(k.left[depth*k.in.dims+d]/s))
		}
	}
	for ; n > 0; n-- {
		k.put(i, n, depth)
		k.pat = append(k.pat, entry{int32(i), int32(n)})
		descend(i+1, depth+1, value+k.value[i]*int64(n))
		k.pat = k.pat[:len(k.pat)-1]
	}
}

// enumerate calls yield with every pattern worth at least floor, and says
// whether it came to the end: yield returns false to stop.
func (k *knapsack) enumerate(floor int64, yield func(pattern, int64) bool) bool {
	k.start()
	stopped := false
	var descend func(from, depth int, value int64)
	descend = func(from, depth int, value int64) {
		if value >= floor && len(k.pat) > 0 && !yield(k.pat, value) {
			stopped = true
		}
		for i := from; i < len(k.value) && !stopped; i++ {
			if !k.mt.spend(1 + int64(len(k.tables))) {
				stopped = true
			}
			if value+k.bound(i, depth) < floor {
				return
			}
			k.each(i, depth, value, descend)
		}
	}
	descend(0, 0, 0)
	return !stopped
}
