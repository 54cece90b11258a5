package packing

import (
	"math/bits"
	"slices"
)

// simpleBound is the greatest of the bounds that can be read off the sizes: in
// each dimension L2 of Martello and Toth (1990), which contains L1, the sum of
// sizes over the capacity.
func (in *instance) simpleBound() int {
	bound := 0
	if in.things > 0 {
		bound = 1
	}
	for d := range in.room {
		bound = max(bound, in.l2(d))
	}
	return bound
}

// l2 says for each threshold a up to half the capacity c: things above c − a
// are alone among those of at least a, things above c/2 are apart, and those
// from a to c/2 that do not fit beside the latter need bins of their own.
func (in *instance) l2(d int) int {
	c := in.room[d]
	if c == 0 {
		return 0
	}
	thresholds := []int64{0}
	for t := range in.size {
		if s := in.size[t][d]; s > 0 && s <= c/2 {
			thresholds = append(thresholds, s)
		}
	}
	slices.Sort(thresholds)
	thresholds = slices.Compact(thresholds)
	best := 0
	for _, a := range thresholds {
		var alone, half int
		var hi, lo uint64 // Σ sizes of the small − what the halves leave, in 128 bits
		var room uint64
		for t := range in.size {
			n := in.demand[t]
			switch s := in.size[t][d]; {
			case s > c-a:
				alone += n
			case s > c/2:
				half += n
				room += uint64(n) * uint64(c-s)
			case s >= a && s > 0:
				h, l := bits.Mul64(uint64(n), uint64(s))
				var carry uint64
				lo, carry = bits.Add64(lo, l, 0)
				hi += h + carry
			}
		}
		need := alone + half
		lo2, borrow := bits.Sub64(lo, room, 0)
		hi2, under := bits.Sub64(hi, 0, borrow)
		if under == 0 && (hi2 > 0 || lo2 > 0) {
			q, r := bits.Div64(hi2, lo2, uint64(c))
			need += int(q)
			if r > 0 {
				need++
			}
		}
		best = max(best, need)
	}
	return best
}
