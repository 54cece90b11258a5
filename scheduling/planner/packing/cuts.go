package packing

import (
	"cmp"
	"slices"
)

// A cut is a subset-row inequality (Jepsen, Petersen, Spoorendonk, Pisinger
// 2008), a Chvátal–Gomory cut with multipliers 1/2 on some types: over the bins
// of a packing ⌊things of these types ÷ 2⌋ sums to at most ⌊their demand ÷ 2⌋.
type cut struct {
	types []int32 // ascending
	rhs   int
}

// coef is what a pattern counts in the cut.
func (c *cut) coef(pat pattern) int {
	sum, at := 0, 0
	for _, e := range pat {
		for at < len(c.types) && c.types[at] < e.typ {
			at++
		}
		if at == len(c.types) {
			break
		}
		if c.types[at] == e.typ {
			sum += int(e.count)
		}
	}
	return sum / 2
}

// Separation: how far a cut must be violated, and how many are taken at once.
const (
	leastViolation = 0.02
	cutsAtOnce     = 30
	cutsOfType     = 6
)

// separate finds cuts of three types, or of one, that the portions violate and
// that are not among the known, the most violated first.
func (in *instance) separate(parts []portion, known []*cut, mt *meter) []*cut {
	n := len(in.size)
	type use struct {
		part  int
		count int
	}
	of := make([][]use, n)        // by type: the portions that hold it
	near := make([][]int32, n)    // by type: the types that share a portion with it
	pairs := map[int64]struct{}{} // those types once
	for i, p := range parts {
		for _, e := range p.pat {
			of[e.typ] = append(of[e.typ], use{i, int(e.count)})
			for _, f := range p.pat {
				key := int64(e.typ)<<32 | int64(f.typ)
				if _, ok := pairs[key]; !ok && e.typ < f.typ {
					pairs[key] = struct{}{}
					near[e.typ] = append(near[e.typ], f.typ)
					near[f.typ] = append(near[f.typ], e.typ)
				}
			}
		}
	}
	for t := range near {
		slices.Sort(near[t])
	}
	had := make(map[[3]int32]bool, len(known))
	for _, c := range known {
		had[c.three()] = true
	}
	type found struct {
		cut *cut
		by  float64
	}
	var all []found
	sums := make([]int, len(parts))
	touched := make([]int, 0, len(parts))
	try := func(types ...int32) {
		c := &cut{types: types}
		if had[c.three()] {
			return
		}
		demand := 0
		for _, t := range types {
			demand += in.demand[t]
			for _, u := range of[t] {
				if sums[u.part] == 0 {
					touched = append(touched, u.part)
				}
				sums[u.part] += u.count
			}
		}
		c.rhs = demand / 2
		by := -float64(c.rhs)
		for _, i := range touched {
			by += parts[i].times * float64(sums[i]/2)
			sums[i] = 0
		}
		mt.spend(int64(len(touched)) * 3)
		touched = touched[:0]
		if by > leastViolation {
			c.types = slices.Clone(types)
			had[c.three()] = true
			all = append(all, found{c, by})
		}
	}
	for i := range int32(n) {
		if in.demand[i] > 1 && in.demand[i]%2 == 1 {
			try(i)
		}
		for a, j := range near[i] {
			if j < i {
				continue
			}
			for _, k := range near[i][a+1:] {
				try(i, j, k)
			}
			for _, k := range near[j] {
				// Those that only j, not i, has as a neighbour.
				if k != i && !slices.Contains(near[i], k) {
					three := []int32{i, j, k}
					slices.Sort(three)
					try(three...)
				}
			}
		}
	}
	slices.SortStableFunc(all, func(a, b found) int { return cmp.Compare(b.by, a.by) })
	var out []*cut
	used := make([]int, n)
	for _, f := range all {
		if len(out) == cutsAtOnce {
			break
		}
		if slices.ContainsFunc(f.cut.types, func(t int32) bool { return used[t] >= cutsOfType }) {
			continue
		}
		for _, t := range f.cut.types {
			used[t]++
		}
		out = append(out, f.cut)
	}
	return out
}

func (c *cut) three() [3]int32 {
	key := [3]int32{-1, -1, -1}
	copy(key[:], c.types)
	return key
}
