package packing

import (
	"cmp"
	"slices"
)

// greedy packs by first fit and best fit decreasing, and by filling one bin
// after another, and gives the best of the three.
func (in *instance) greedy() packing {
	best := in.fitDecreasing(false)
	if in.things*len(in.size) > mostGreedy || in.things > mostBestFit {
		return best
	}
	for _, other := range []packing{in.fitDecreasing(true), in.binByBin()} {
		if len(other) < len(best) {
			best = other
		}
	}
	return best
}

// Up to how large problems are packed in more ways than first fit.
const (
	mostBestFit = 10_000
	mostGreedy  = 20_000_000
)

// fitDecreasing puts the largest first, each into the first bin that has room,
// or, for best fit, the one with least room left.
func (in *instance) fitDecreasing(tightest bool) packing {
	var out packing
	var left [][]int64
	for t, n := range in.demand {
		from := 0 // no bin before it has room for this type
		for range n {
			at := -1
			var least float64
			for b := from; b < len(out); b++ {
				if !within(in.size[t], left[b]) {
					if b == from {
						from++
					}
					continue
				}
				if !tightest {
					at = b
					break
				}
				if room := in.roomLeft(left[b]); at < 0 || room < least {
					at, least = b, room
				}
			}
			if at < 0 {
				at = len(out)
				out, left = append(out, nil), append(left, slices.Clone(in.room))
			}
			for d, s := range in.size[t] {
				left[at][d] -= s
			}
			out[at] = out[at].with(t, 1)
		}
	}
	return out
}

// binByBin fills a bin with what suits its room best (the dot product of room
// and size), then the next.
func (in *instance) binByBin() packing {
	var out packing
	demand := slices.Clone(in.demand)
	for things := in.things; things > 0; {
		left := slices.Clone(in.room)
		var pat pattern
		for {
			at, most := -1, -1.0
			for t, n := range demand {
				if n == 0 || !within(in.size[t], left) {
					continue
				}
				var dot float64
				for d, s := range in.size[t] {
					if c := float64(in.room[d]); c > 0 {
						dot += float64(s) / c * float64(left[d]) / c
					}
				}
				if dot > most {
					at, most = t, dot
				}
			}
			if at < 0 {
				break
			}
			demand[at]--
			things--
			for d, s := range in.size[at] {
				left[d] -= s
			}
			pat = pat.with(at, 1)
		}
		out = append(out, pat)
	}
	return out
}

func within(size, left []int64) bool {
	for d, s := range size {
		if s > left[d] {
			return false
		}
	}
	return true
}

func (in *instance) roomLeft(left []int64) float64 {
	var sum float64
	for d, l := range left {
		if in.room[d] > 0 {
			sum += float64(l) / float64(in.room[d])
		}
	}
	return sum
}

// with adds n things of a type.
func (pat pattern) with(t, n int) pattern {
	at, found := slices.BinarySearchFunc(pat, int32(t), func(e entry, t int32) int { return cmp.Compare(e.typ, t) })
	if found {
		pat[at].count += int32(n)
		return pat
	}
	return slices.Insert(pat, at, entry{int32(t), int32(n)})
}
