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
	res := &Result{Packing: in.bins(sv.best), Bins: len(sv.best), Bound: sv.bound, Complete: !mt.broken, Work: mt.done, Effort: mt.effort}
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

// mostTypes is up to how many types the relaxation is tried: its inverse holds
// their square.
const mostTypes = 1_200

func (sv *solver) run() {
	in := sv.in
	sv.best, sv.bound = in.greedy(), in.simpleBound()
	if len(sv.best) <= sv.bound || len(in.size) > mostTypes {
		return
	}
	rel := newRelaxation(in, sv.mt)
	for _, pat := range sv.best {
		rel.add(pat)
	}
	done := rel.solve(len(sv.best), false)
	if rel.sum > 0 {
		sv.bound = max(sv.bound, rel.bound())
	}
	for done && len(sv.best) > sv.bound && !sv.mt.over() {
		found, ended := sv.settle(rel, sv.bound)
		switch {
		case found != nil && len(found) <= sv.bound && in.verify(found) == nil:
			sv.best = found
		case found == nil && ended:
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
	for nodes, open := 50, true; open && !sv.mt.over(); nodes *= 3 {
		open = false
		for by := range tastes {
			br := &brancher{solver: sv, target: target, by: by, left: nodes}
			if found, ended := br.explore(rel, false); ended {
				return found, true
			}
			open = open || br.left < 0 // else numbers failed
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
	if tr.found != nil {
		return rel.view.join(nil, tr.found), true
	}
	return nil, ended
}
