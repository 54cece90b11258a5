package packing

import "context"

// Solve packs. It fails when the problem is none, and in no other way: when
// limits or ctx end the search, it gives the best packing and bound so far.
func Solve(ctx context.Context, p *Problem, limits Limits) (*Result, error) {
	if err := p.check(); err != nil {
		return nil, err
	}
	in := compile(p)
	mt := newMeter(ctx, limits.Work)
	sv := &solver{in: in, mt: mt}
	sv.run()
	res := &Result{Packing: in.bins(sv.best), Bound: sv.bound, Complete: !mt.broken, Work: mt.done, Effort: mt.effort}
	res.Bins = len(sv.best)
	if err := in.verify(sv.best); err != nil {
		panic(err)
	}
	if len(in.free) > 0 && res.Bins == 0 {
		res.Bins, res.Bound = 1, 1
	}
	return res, nil
}

type solver struct {
	in    *instance
	mt    *meter
	best  packing
	bound int
}

func (sv *solver) run() {
	in := sv.in
	sv.best, sv.bound = in.greedy(), in.simpleBound()
	if len(sv.best) <= sv.bound {
		return
	}
	rel := newRelaxation(in, sv.mt)
	for _, pat := range sv.best {
		rel.add(pat)
	}
	done := rel.solve(len(sv.best), false)
	sv.bound = max(sv.bound, rel.bound())
	debugf("bound %d lp %.6f lower %.6f ub %d work %d", sv.bound, rel.cost, rel.lower(), len(sv.best), sv.mt.done)
	for done && len(sv.best) > sv.bound && !sv.mt.over() {
		found, ended := sv.settle(rel, sv.bound)
		switch {
		case found != nil:
			sv.best = found
		case ended:
			sv.bound++
		default:
			return
		}
	}
}

// settle finds a packing of at most target bins, or says that there is none:
// ended without one. rel is the relaxation, solved.
func (sv *solver) settle(rel *relaxation, target int) (found packing, ended bool) {
	dv := &diver{mt: sv.mt, target: target}
	if found := dv.run(rel, 0); found != nil {
		return found, true
	}
	if found, ended := sv.enumerate(rel, target, 2_000); ended {
		return found, ended
	}
	for nodes := 50; !sv.mt.over(); nodes *= 3 {
		for by := range tastes {
			br := &brancher{solver: sv, target: target, by: by, left: nodes}
			if found, ended := br.explore(rel, false); ended {
				return found, true
			}
			if br.left > 0 {
				break // and yet it did not end: numbers fail
			}
		}
	}
	return nil, false
}

// mostPatterns is how large a pool may be.
const mostPatterns = 20_000

// enumerate settles by the patterns that can be in a packing, when they are few.
func (sv *solver) enumerate(rel *relaxation, target, nodes int) (found packing, ended bool) {
	pool, all := rel.pool(target, mostPatterns)
	if !all {
		return nil, false
	}
	tr := &tree{in: rel.view.in, mt: sv.mt, target: target, pool: pool, limit: nodes}
	ended = tr.run()
	debugf("pool %d tree ended %v found %v work %d nodes %d cuts %d", len(pool), ended, tr.found != nil, sv.mt.done, sv.mt.effort.Nodes, sv.mt.effort.Cuts)
	if tr.found != nil {
		return rel.view.join(nil, tr.found), true
	}
	return nil, ended
}

// A brancher settles by branch and price.
type brancher struct {
	*solver
	target int
	by     taste
	left   int // nodes
}

// explore settles a relaxation that is solved; enumerate says whether few
// patterns may settle it.
func (br *brancher) explore(rel *relaxation, enumerate bool) (found packing, ended bool) {
	if br.left--; br.left < 0 || br.mt.over() {
		return nil, false
	}
	if enumerate {
		if found, ended := br.enumerate(rel, br.target, 200); ended {
			return found, ended
		}
	}
	pairs := rel.in.broken(rel.portions(), br.by)
	if len(pairs) == 0 {
		found := br.round(rel)
		return found, found != nil
	}
	for _, sub := range rel.children(pairs[0]) {
		if !sub.solve(br.target+1, false) {
			return nil, false
		}
		br.mt.effort.Nodes++
		debugf("lp %.6f lower %.6f work %d %v", sub.cost, sub.lower(), br.mt.done, pairs[0])
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

// round makes a packing of a relaxation in which no pair is broken, if it is one.
func (br *brancher) round(rel *relaxation) packing {
	dv := &diver{mt: br.mt, target: br.target}
	return dv.run(rel, 0)
}
