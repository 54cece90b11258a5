package packing

import (
	"cmp"
	"fmt"
	"slices"
)

// An instance is a problem with equal items merged into types, the largest
// first, and the things of size 0 put aside: they go into any bin.
type instance struct {
	dims   int
	room   []int64   // capacity by dimension
	size   [][]int64 // by type and dimension
	demand []int     // by type
	origin [][]Part  // by type: the items it is made of
	free   []Part    // things that take no room
	apart  [][]bool  // types that may not share a bin; nil: all may
	things int       // sum of demand
}

func compile(p *Problem) *instance {
	in := &instance{dims: len(p.Capacity), room: slices.Clone(p.Capacity)}
	order := make([]int, 0, len(p.Items))
	for i := range p.Items {
		switch it := &p.Items[i]; {
		case it.Count == 0:
		case !slices.ContainsFunc(it.Size, func(s int64) bool { return s > 0 }):
			in.free = append(in.free, Part{i, it.Count})
		default:
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int {
		x, y := p.Items[a].Size, p.Items[b].Size
		return cmp.Or(cmp.Compare(in.weight(y), in.weight(x)), slices.Compare(y, x))
	})
	for k, i := range order {
		it := &p.Items[i]
		if k == 0 || !slices.Equal(p.Items[order[k-1]].Size, it.Size) {
			in.size, in.demand, in.origin = append(in.size, slices.Clone(it.Size)), append(in.demand, 0), append(in.origin, nil)
		}
		t := len(in.size) - 1
		in.demand[t] += it.Count
		in.origin[t] = append(in.origin[t], Part{i, it.Count})
		in.things += it.Count
	}
	in.coarsen()
	return in
}

// mostCoarse is the greatest divisor that coarsen tries beside common ones.
const mostCoarse = 10_000

// coarsen divides the sizes of a dimension where that changes nothing of what
// fits together, so that tables are small: by what all sizes have in common,
// then by any g such that what rounding down takes off the sizes of a full bin
// is no more than what it takes off the capacity.
func (in *instance) coarsen() {
	if len(in.size) == 0 {
		return
	}
	for d := range in.room {
		var common int64
		for t := range in.size {
			common = gcd(common, in.size[t][d])
		}
		in.divide(d, max(common, 1))
	}
	for d := range in.room {
		for g := min(in.room[d], mostCoarse); g > 1; g-- {
			if in.loses(d, g) <= in.room[d]%g {
				in.divide(d, g)
				break
			}
		}
	}
}

// loses is at most what dividing takes off the sizes of things that fit
// together once divided; g when it is that or more.
func (in *instance) loses(d int, g int64) int64 {
	var rest int64
	least := in.room[d]
	for t := range in.size {
		s := in.size[t][d]
		if rest = max(rest, s%g); rest >= g {
			return g
		}
		least = min(least, s)
	}
	most := int64(in.things)
	if least >= g {
		most = min(most, in.room[d]/g/(least/g))
	}
	return min(rest*most, g)
}

func (in *instance) divide(d int, g int64) {
	in.room[d] /= g
	for t := range in.size {
		in.size[t][d] /= g
	}
}

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// A pattern is what one bin holds, by type; count > 0, types ascending.
type pattern []entry

type entry struct{ typ, count int32 }

// A packing is patterns, each as often as it stands there.
type packing []pattern

// bins turns a packing of types into one of the problem's items.
func (in *instance) bins(pk packing) []Bin {
	left := make([][]Part, len(in.origin))
	for t := range left {
		left[t] = slices.Clone(in.origin[t])
	}
	out := []Bin{}
	for _, pat := range pk {
		b := Bin{Times: 1}
		for _, e := range pat {
			for n := int(e.count); n > 0; {
				from := &left[e.typ][0]
				take := min(n, from.Count)
				b.Parts = append(b.Parts, Part{from.Item, take})
				n -= take
				if from.Count -= take; from.Count == 0 {
					left[e.typ] = left[e.typ][1:]
				}
			}
		}
		if last := len(out) - 1; last >= 0 && slices.Equal(out[last].Parts, b.Parts) {
			out[last].Times++
			continue
		}
		out = append(out, b)
	}
	if len(in.free) > 0 {
		if len(out) == 0 {
			out = append(out, Bin{Times: 1})
		}
		last := &out[len(out)-1]
		if last.Times > 1 {
			last.Times--
			out = append(out, Bin{Parts: slices.Clone(last.Parts), Times: 1})
			last = &out[len(out)-1]
		}
		last.Parts = append(last.Parts, in.free...)
	}
	return out
}

// verify says whether a packing holds each thing once and keeps every capacity.
func (in *instance) verify(pk packing) error {
	demand := slices.Clone(in.demand)
	for _, pat := range pk {
		take(pat, demand)
		for d, left := range in.room {
			for _, e := range pat {
				left -= in.size[e.typ][d] * int64(e.count)
			}
			if left < 0 {
				return fmt.Errorf("packing: %v is over the capacity in dimension %d", pat, d)
			}
		}
	}
	for t, n := range demand {
		if n != 0 {
			return fmt.Errorf("packing: type %d is packed %d times too few", t, n)
		}
	}
	return nil
}
