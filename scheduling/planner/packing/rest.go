package packing

import "slices"

// A rest is an instance made of another: each of its types is a pattern of the
// other's, most often one thing.
type rest struct {
	in   *instance
	from []pattern
}

// without is the rest of an instance when demand is left.
func (in *instance) without(demand []int) rest {
	rs := rest{in: &instance{dims: in.dims, room: in.room}}
	for t, n := range demand {
		if n > 0 {
			rs.from = append(rs.from, pattern{{int32(t), 1}})
			rs.in.size, rs.in.demand = append(rs.in.size, in.size[t]), append(rs.in.demand, n)
			rs.in.things += n
		}
	}
	rs.in.inherit(in, rs.from)
	return rs
}

// inherit takes over what keeps types apart from those they are made of.
func (in *instance) inherit(old *instance, from []pattern) {
	if old.apart == nil {
		return
	}
	in.apart = make([][]bool, len(from))
	for i := range from {
		in.apart[i] = make([]bool, len(from))
		for j := range from {
			for _, e := range from[i] {
				for _, f := range from[j] {
					in.apart[i][j] = in.apart[i][j] || old.apart[e.typ][f.typ]
				}
			}
		}
	}
}

// worth gives each type the sum of what it is made of.
func (rs *rest) worth(value []int64) []int64 {
	out := make([]int64, len(rs.from))
	for t, from := range rs.from {
		for _, e := range from {
			out[t] += value[e.typ] * int64(e.count)
		}
	}
	return out
}

// outside gives a pattern in the old types.
func (rs *rest) outside(pat pattern) pattern {
	out := make(pattern, 0, len(pat)+1)
	for _, e := range pat {
		for _, f := range rs.from[e.typ] {
			out = out.with(int(f.typ), int(e.count*f.count))
		}
	}
	return out
}

// join is a packing of the old instance: what was fixed there, and a packing of
// the rest.
func (rs *rest) join(fixed, more packing) packing {
	out := slices.Clone(fixed)
	for _, pat := range more {
		out = append(out, rs.outside(pat))
	}
	return out
}

// cutTo is a pattern cut down to what is in demand.
func cutTo(pat pattern, demand []int) pattern {
	var out pattern
	for _, e := range pat {
		if n := min(int(e.count), demand[e.typ]); n > 0 {
			out = append(out, entry{e.typ, int32(n)})
		}
	}
	return out
}

func take(pat pattern, demand []int) {
	for _, e := range pat {
		demand[e.typ] -= int(e.count)
	}
}

// translate gives patterns of the old instance, cut down to what is left of its
// demand, in the types of without, each once.
func (rs *rest) translate(pats []pattern, demand []int) []pattern {
	now := make([]int32, len(demand))
	for t, from := range rs.from {
		now[from[0].typ] = int32(t)
	}
	seen := make(map[string]bool, len(pats))
	var out []pattern
	for _, pat := range pats {
		cut := cutTo(pat, demand)
		if len(cut) == 0 {
			continue
		}
		for i := range cut {
			cut[i].typ = now[cut[i].typ]
		}
		if key := cut.key(); !seen[key] {
			seen[key] = true
			out = append(out, cut)
		}
	}
	return out
}

// inside gives a pattern in the new types, as far as it can be.
func (rs *rest) inside(pat pattern) pattern {
	left := slices.Clone(pat)
	var out pattern
	for t, from := range rs.from {
		n := int32(rs.in.demand[t])
		for _, e := range from {
			n = min(n, left.countOf(e.typ)/e.count)
		}
		if n == 0 || !rs.in.joins(t, out) || n > 1 && rs.in.apart != nil && rs.in.apart[t][t] {
			continue
		}
		for _, e := range from {
			for i := range left {
				if left[i].typ == e.typ {
					left[i].count -= n * e.count
				}
			}
		}
		out = append(out, entry{int32(t), n})
	}
	return out
}

func (pat pattern) countOf(t int32) int32 {
	for _, e := range pat {
		if e.typ == t {
			return e.count
		}
	}
	return 0
}

func (pat pattern) key() string {
	b := make([]byte, 0, len(pat)*6)
	for _, e := range pat {
		b = append(b, byte(e.typ), byte(e.typ>>8), byte(e.typ>>16), byte(e.count), byte(e.count>>8), byte(e.count>>16))
	}
	return string(b)
}
