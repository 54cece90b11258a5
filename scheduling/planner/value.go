package planner

import "math/bits"

// worth is a plan's value at the six levels; smaller is better, by the first
// that differs.
type worth [6]int64

// The indexes of the levels.
const (
	displaced = iota
	lateness
	chemistry
	runs
	finish
	changes
)

func (w *worth) less(o *worth) bool {
	for i := range w {
		if w[i] != o[i] {
			return w[i] < o[i]
		}
	}
	return false
}

// value is the worth of the plan so far.
func (s *state) value() worth {
	m := s.m
	var w worth
	for i := range m.rolls {
		r := &m.rolls[i]
		b := s.of[i]
		if b == nil {
			w[displaced] += r.displacedCount
			w[lateness] += r.out
		}
		if r.tracked && r.placeIn(b) != r.prev {
			w[changes]++
		}
	}
	for _, b := range s.batches {
		w[lateness] += s.late(b)
		if b.mixes {
			w[chemistry] += m.sets[b.set].price
		}
		w[finish] = max(w[finish], s.dry(b))
	}
	w[chemistry] += s.wasted()
	w[runs] = int64(len(s.batches))
	return w
}

func (r *rollM) placeIn(b *batch) int {
	if b == nil {
		return noPlace
	}
	return b.sess
}

// late is a placed batch's share of level 2.
func (s *state) late(b *batch) int64 {
	var sum int64
	for i, r := range b.rolls {
		sum += s.m.rolls[r].late(b.end + s.m.cabs[b.cabs[i]].dry)
	}
	return sum
}

// dry is when the last film of a batch is.
func (s *state) dry(b *batch) int64 {
	var last int64
	for _, c := range b.cabs {
		last = max(last, b.end+s.m.cabs[c].dry)
	}
	return last
}

// wasted is the cost of capacity that will expire unused.
func (s *state) wasted() int64 {
	var sum int64
	for _, i := range s.m.waste {
		sum += s.m.unusedCost(i, s.area)
	}
	return sum
}

// unusedCost is what is lost of one set when this area of each bath was used.
func (m *model) unusedCost(set int, used []int64) int64 {
	left := int64(never)
	for _, b := range m.sets[set].baths {
		if m.baths[b].limitedArea {
			left = min(left, m.baths[b].area-used[b])
		}
	}
	if left >= never || left <= 0 {
		return 0
	}
	return wastedPrice(left, m.sets[set].waste)
}

// wastedPrice is what an area costs at so much a square metre, rounded down; never
// where that is beyond all numbers.
func wastedPrice(area, perM2 int64) int64 {
	hi, lo := bits.Mul64(uint64(area), uint64(perM2))
	if hi >= 1_000_000/4 {
		return never
	}
	q, _ := bits.Div64(hi, lo, 1_000_000)
	return int64(q)
}
