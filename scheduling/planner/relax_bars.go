package planner

// Bars keep types of rolls out of sessions: where a goal's bound would be above
// what plans are to have if only one roll of the type were there, no such plan has
// one there (reduced-cost fixing: Dantzig, Fulkerson and Johnson 1954).
type bars struct {
	sessions int
	out      []bool // by type and session
	n        int
}

func (b *bars) has(t, i int) bool { return b != nil && b.out[t*b.sessions+i] }

// join is what either bars.
func (b *bars) join(o *bars) *bars {
	if b == nil || o == nil || b == o {
		if b == nil {
			return o
		}
		return b
	}
	j := &bars{sessions: b.sessions, out: make([]bool, len(b.out)), n: b.n}
	for k, barred := range o.out {
		if j.out[k] = b.out[k] || barred; barred && !b.out[k] {
			j.n++
		}
	}
	return j
}

// bars are what no plan has that is worth a value at most at the master's level,
// by the prices of its last round.
func (ma *master) bars(value int64) *bars {
	rx := ma.rx
	if ma.last <= 0 {
		return nil
	}
	most := total{-ma.last, false} // by how much the bound may still grow
	if ma.goal.level == chemistry {
		value += int64(rx.waste)
	}
	most.add(value, int64(ma.scale))
	b := &bars{sessions: len(rx.sess), out: make([]bool, len(rx.types)*len(rx.sess))}
	if most.over {
		return nil
	}
	pr := rx.pr
	best := make([]int64, len(rx.types))
	for i := range rx.sess {
		for t := range best {
			best[t] = impossibly
		}
		pr.find(&ma.pr, &ma.li, i)
		for k := range pr.found {
			w := &pr.ways[k]
			for _, t := range rx.leads[rx.sess[i].offers[w.offer].lead].types {
				// Without the roll there may be one run less, its reels in others.
				v := pr.worthOf(&ma.pr, &ma.li, i, w, t, true) + max(-w.tariff.net, -w.tariff.of(true).net, 0)
				best[t] = max(best[t], v)
			}
		}
		for t, v := range best {
			if rx.types[t].late[rx.sess[i].index] < never && -v > most.sum {
				b.out[t*b.sessions+i] = true
				b.n++
			}
		}
	}
	return b
}

// mostNarrowings is how often a goal is solved again with what it cannot have
// barred.
const mostNarrowings = 4

// narrowed solves a goal with all barred that is known to be in no plan so good,
// and then in none that is better than the target. Its bound is of the plans that
// are: the goal's is that or the target.
func (rx *relaxation) narrowed(g goal, expired func() bool) (done *master) {
	g.barred = rx.barredBy(&g)
	ma := rx.master(g)
	ma.solve(expired)
	if g.finish > 0 && g.level == runs {
		defer func() { done.barLast(expired) }()
	}
	if g.level == none || g.level == displaced || g.target <= 0 {
		return ma
	}
	if g.finish == 0 {
		// Its prices as they are now: a dive goes on from them.
		kept := &master{rx: rx, goal: ma.goal, li: ma.li, scale: ma.scale, last: ma.last, pr: ma.pr.clone()}
		rx.solved[refusal(g.kits, &g.worth, g.level)] = kept
	}
	for range mostNarrowings {
		if rx.whole(ma) >= g.target || expired() {
			break
		}
		more := g.barred.join(ma.bars(g.target - 1))
		if more.count() == g.barred.count() {
			break
		}
		g.barred = more
		bound := ma.bound
		ma = rx.master(g)
		ma.bound = bound
		ma.solve(expired)
	}
	return ma
}

// barMore bars what no plan below the target has, and solves on.
func (ma *master) barMore(expired func() bool) {
	if ma.rx.whole(ma) >= ma.goal.target {
		return
	}
	more := ma.li.barred.join(ma.bars(ma.goal.target - 1))
	if more.count() > ma.li.barred.count() {
		ma.barAlso(more, expired)
	}
}

// barAlso bars more, and solves on.
func (ma *master) barAlso(more *bars, expired func() bool) {
	ma.li.barred = more
	ma.dropBarred()
	ma.generate(childPivots, childRounds, expired)
}

// dropBarred puts the contents that cannot be any more out of the program.
func (ma *master) dropBarred() {
	for c := range ma.rx.pool {
		col := ma.colOf(c)
		if col < 0 || ma.sx.cols[col].off || ma.allows(&ma.rx.pool[c]) {
			continue
		}
		ma.sx.cols[col].cost += 8 * ma.dear
		ma.sx.cols[col].off = true
	}
}

func (b *bars) count() int {
	if b == nil {
		return 0
	}
	return b.n
}

// barredBy is what is known to be in no plan of the goal's values above, from
// what was solved of those levels.
func (rx *relaxation) barredBy(g *goal) *bars {
	var b *bars
	last := max(g.upTo, g.level) - 1
	if g.finish > 0 && g.level == runs {
		last = runs // of which there are to be no more
		inTime(func() { b = rx.lastDays(g).bars(rx, g.finish) })
	}
	for level := lateness; level <= last; level++ {
		b = b.join(rx.barsAt(nil, g, level))
		if g.kits != nil {
			b = b.join(rx.barsAt(g.kits, g, level))
		}
	}
	return b
}

// barsAt are the bars that follow from one level's value for a choice of kits.
func (rx *relaxation) barsAt(kits []choice, g *goal, level int) *bars {
	key := refusal(kits, &g.worth, level+1)
	b, ok := rx.barred[key]
	if ma := rx.solved[refusal(kits, &g.worth, level)]; !ok && ma != nil {
		b = ma.bars(g.worth[level])
		rx.barred[key] = b
	}
	return b
}
