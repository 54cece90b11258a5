package packing

// A brancher settles by branch and price.
type brancher struct {
	*solver
	target int
	by     taste
	left   int  // nodes
	priced bool // never by the patterns, to try branching alone
}

// explore settles a relaxation that is solved; enumerate says whether few
// patterns may settle it.
func (br *brancher) explore(rel *relaxation, enumerate bool) (found packing, ended bool) {
	if br.left--; br.left < 0 || br.mt.over() {
		return nil, false
	}
	if enumerate && !br.priced {
		if found, ended := br.enumerate(rel, br.target, 200); ended {
			return found, ended
		}
	}
	pairs := rel.in.broken(rel.in.trim(rel.portions()), br.by)
	if len(pairs) == 0 {
		return br.round(rel)
	}
	for _, sub := range rel.children(pairs[0]) {
		if !sub.solve(br.target+1, false) {
			return nil, false
		}
		br.mt.effort.Nodes++
		if sub.bound() > br.target {
			continue
		}
		found, ended := br.explore(sub.relaxation, true)
		if found != nil {
			return sub.lift(found), true
		}
		if !ended {
			return nil, false
		}
	}
	return nil, true
}

// round settles a relaxation in which no pair is broken. Where each thing is a
// type of its own it is whole then; else alike things become types of their own.
func (br *brancher) round(rel *relaxation) (packing, bool) {
	dv := &diver{mt: br.mt, target: br.target}
	if found := dv.run(rel, 0); found != nil {
		return found, true
	}
	rs := rel.view.in.split()
	if len(rs.from) == len(rel.view.from) {
		return nil, false
	}
	sub := newRelaxation(rs.in, br.mt)
	if !sub.solve(br.target+1, false) {
		return nil, false
	}
	if sub.bound() > br.target {
		return nil, true
	}
	found, ended := br.explore(sub, false)
	if found != nil {
		all := rs.after(&rel.view)
		return all.join(nil, found), true
	}
	return nil, ended
}
