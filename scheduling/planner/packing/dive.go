package packing

import "slices"

// A diver rounds the relaxation: it fixes what the relaxation takes whole, or
// else what it takes most of, and solves the rest again.
type diver struct {
	mt     *meter
	target int // bins at most
}

// run gives a packing of at most target bins, bins of which stand already, or
// nil.
func (dv *diver) run(rel *relaxation, bins int) packing {
	if dv.mt.over() {
		return nil
	}
	in := rel.in
	parts := rel.portions()
	if len(parts) == 0 {
		return nil
	}
	demand := slices.Clone(in.demand)
	var fixed packing
	fix := func(pat pattern) {
		fixed = append(fixed, pat)
		take(pat, demand)
	}
	for _, p := range parts {
		for range int(p.times + 1e-4) {
			if cut := cutTo(p.pat, demand); len(cut) > 0 {
				fix(cut)
			}
		}
	}
	if len(fixed) == 0 {
		fix(cutTo(parts[0].pat, demand))
		// With it what is taken nearly whole and does not touch it.
		for _, p := range parts[1:] {
			if cut := cutTo(p.pat, demand); p.times > 0.9 && slices.Equal(cut, p.pat) {
				fix(cut)
			}
		}
	}
	bins += len(fixed)
	dv.mt.effort.Dives++
	rs := in.without(demand)
	if len(rs.from) == 0 {
		if bins > dv.target {
			return nil
		}
		return fixed
	}
	dv.mt.spend(int64(rs.in.things) * 20)
	if g := rs.in.greedy(); bins+len(g) <= dv.target {
		return rs.join(fixed, g)
	}
	if bins+rs.in.simpleBound() > dv.target {
		return nil
	}
	sub := newRelaxation(rs.in, dv.mt)
	for _, pat := range rs.translate(rel.pats, demand) {
		sub.add(pat)
	}
	if !sub.solve(dv.target-bins+1, true) || bins+sub.bound() > dv.target {
		return nil
	}
	if more := dv.run(sub, bins); more != nil {
		return rs.join(fixed, more)
	}
	return nil
}
