package planner

import (
	"cmp"
	"slices"
)

// sample is about how many of the rolls that the plan leaves out are tried
// again in one step.
const sample = 12

// fillPool gathers the rolls to insert: those taken out, and of those left out
// before all, or a sample.
func (sr *search) fillPool(loose bool) {
	sr.pool = sr.pool[:0]
	clear(sr.had)
	for i := range sr.now {
		for _, r := range sr.now[i].rolls {
			sr.had[r] = true
		}
	}
	out := 0
	for r := range sr.m.rolls {
		if !sr.had[r] {
			out++
		}
	}
	all := !loose || len(sr.now) == 0 || out <= sample
	for r := range sr.m.rolls {
		if sr.s.of[r] != nil || len(sr.m.rolls[r].sessions) == 0 {
			continue
		}
		if sr.had[r] || all || sr.m.rolls[r].held != noHold || sr.rng.IntN(out) < sample {
			sr.pool = append(sr.pool, r)
		}
	}
}

// The orders in which rolls are inserted.
const (
	byDue = iota
	byWeight
	byClass
	bySize
	byHandIn
	atRandom
	orders
)

func (sr *search) sortPool(mode int) {
	m := sr.m
	for _, r := range sr.pool {
		sr.order[r] = sr.rng.Int64()
	}
	tall := func(r *rollM) int64 { return m.kinds[r.kind].height / m.kinds[r.kind].holds }
	slices.SortFunc(sr.pool, func(a, b int) int {
		x, y := &m.rolls[a], &m.rolls[b]
		c := 0
		if mode != atRandom {
			c = cmp.Compare(y.displacedCount, x.displacedCount)
		}
		switch mode {
		case byDue:
			c = cmp.Or(c, cmp.Compare(x.due, y.due), cmp.Compare(y.weight, x.weight), cmp.Compare(x.class, y.class), cmp.Compare(tall(y), tall(x)))
		case byWeight:
			c = cmp.Or(c, cmp.Compare(y.weight, x.weight), cmp.Compare(x.due, y.due), cmp.Compare(x.class, y.class))
		case byClass:
			c = cmp.Or(c, cmp.Compare(x.class, y.class), cmp.Compare(tall(y), tall(x)), cmp.Compare(x.due, y.due))
		case byHandIn:
			c = cmp.Or(c, cmp.Compare(x.in, y.in))
		case bySize:
			c = cmp.Or(c, cmp.Compare(tall(y), tall(x)), cmp.Compare(y.area, x.area))
		}
		return cmp.Or(c, cmp.Compare(sr.order[a], sr.order[b]))
	})
}
