package planner

import (
	"context"
	"time"
)

// defaultBudget is what a Budget of 0 stands for. By default the search is
// bounded by its iterations and ends long before.
const defaultBudget = 20 * time.Second

// Progress is how far a search has come, given whenever it found a better plan
// or proved more of the one it has.
type Progress struct {
	// Iterations are the improvement steps done.
	Iterations int64 `json:"iterations"`
	// Levels are the values reached, in the order of LevelNames, and Bounds what
	// is proved of each: no plan with the same values above it is below.
	Levels [6]int64 `json:"levels"`
	Bounds [6]int64 `json:"bounds"`
}

// countable is up to how many rolls counting bounds for each report takes no time
// to speak of.
const countable = 400

// Solve plans. The plan keeps every rule; how good it is stands in its levels.
// The same problem gives the same plan, unless the budget or ctx ends the
// search early: then the best plan so far is returned with Complete false and
// no error. progress, which may be nil, is called from the same goroutine.
//
// It fails with *[InvalidError] when the problem is not valid, and in no other
// way: a problem too big to place leaves rolls out.
func Solve(ctx context.Context, p *Problem, progress func(Progress)) (*Plan, error) {
	return solve(ctx, p, progress, p.Search.UpTo == 0)
}

// solve is Solve, and says whether to look for clashes.
func solve(ctx context.Context, p *Problem, progress func(Progress), clashes bool) (*Plan, error) {
	deadline := time.Now().Add(defaultBudget)
	if p.Search.Budget > 0 {
		deadline = time.Now().Add(p.Search.Budget.Std())
	}
	if faults := p.Validate(); len(faults) > 0 {
		return nil, &InvalidError{Faults: faults}
	}
	m := compile(p)
	upTo := p.Search.UpTo
	if upTo == 0 {
		upTo = len(LevelNames)
	}
	limit := p.Search.Iterations
	if limit == 0 {
		limit = steps(len(m.rolls))
	}
	sr := newSearch(m)
	sr.expired = func() bool { return ctx.Err() != nil || time.Now().After(deadline) }
	sr.verify = true
	pf := &proofs{known: make(map[proofKey]int64)}
	var last *Progress
	sr.report = func() {
		if progress == nil {
			return
		}
		if pf.bd != nil && len(m.rolls) <= countable {
			pf.counted(&sr.bestWorth)
		}
		// What is proved may be of plans better than there are any yet: no news here.
		now := Progress{Iterations: sr.step, Levels: sr.bestWorth, Bounds: pf.all(&sr.bestWorth)}
		if last == nil || now.Levels != last.Levels || now.Bounds != last.Bounds {
			last = &now
			progress(now)
		}
	}
	plan, floor := sr.solveAlike(ctx, deadline, upTo)
	if plan != nil {
		if progress != nil {
			at := Progress{Levels: sr.bestWorth}
			for i, l := range plan.Levels {
				at.Bounds[i] = l.Bound
			}
			progress(at)
		}
		return plan, nil
	}
	if !sr.seen {
		sr.first()
	}
	bd := newBounds(m, sr.expired)
	bd.floor = floor
	*pf = *bd.proofs(limit)
	pf.proved = sr.report
	sr.holdFirst(bd)
	complete := sr.improve(pf, limit, upTo)
	pl := sr.plan(pf, complete)
	sr.tell(pl)
	if clashes && sr.bestWorth[displaced] > 0 {
		pl.Clashes = sr.clashes()
		pl.Complete = pl.Complete && !sr.expired()
	}
	return pl, nil
}

// steps is how many improvement steps a problem gets by default: with what the
// relaxation may work beside them they take some seconds, for 200 rolls ten or
// more; fewer where they settle sooner.
func steps(rolls int) int64 {
	n := int64(rolls)
	switch {
	case n <= 10:
		return 4_000
	case n <= 40:
		return 400 * n
	case n <= 80:
		return 640_000 / n
	case n <= 200:
		return 20_000
	default:
		return max(4_000_000/n, 3_000)
	}
}
