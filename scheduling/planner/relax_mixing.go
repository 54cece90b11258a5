package planner

import (
	"cmp"
	"slices"
)

// A kit is mixed in the session that uses it first, before all runs by it, and that
// takes time there, which the linear program does not know. So a goal is split by where
// a kit is mixed: in one of the sessions that use it on the first day, on a later day, or
// sooner than the program has it.

// A mixing is the first day on which a program uses a kit: the sessions that do, those in
// which it could be mixed before them, and those of later days.
type mixing struct {
	set              int
	in, sooner, then []int
	share            []float64 // of those in which it is used
}

// leastShare is how much a program uses a kit in a session for it to count.
const leastShare = 0.05

// unmixed is a kit for whose mixing the program has left no time; whether there is one.
func (ma *master) unmixed() (mixing, bool) {
	rx := ma.rx
	for set := range rx.sets {
		takes := rx.m.sets[set].takes
		if !rx.sets[set].kit || ma.choice(set) != mixed || takes == 0 || ma.settledIn(set) {
			continue
		}
		share, idle := make([]float64, len(rx.sess)), make([]float64, len(rx.sess))
		for c, x := range ma.inUse() {
			if co := &rx.pool[c]; co.uses(set) {
				share[co.sess] += x
				idle[co.sess] += x * float64(min(rx.sess[co.sess].length, ma.li.length[co.sess])-co.length)
			}
		}
		mx := mixing{set: set}
		first := -1 // day
		timely := false
		for d, day := range rx.clusters {
			for _, i := range day {
				switch {
				case !ma.offers(i, set):
				case first >= 0 && d > first:
					mx.then = append(mx.then, i)
				case share[i] < leastShare:
					mx.sooner = append(mx.sooner, i)
				default:
					first = d
					mx.in, mx.share = append(mx.in, i), append(mx.share, share[i])
					timely = timely || idle[i] >= share[i]*float64(takes)-1
				}
			}
		}
		if first >= 0 && !timely {
			return mx, true
		}
	}
	return mixing{}, false
}

// settledIn says that it is settled in which session a kit is mixed.
func (ma *master) settledIn(set int) bool { return ma.mixedIn != nil && ma.mixedIn[set] }

// uses says that a content has runs by a set.
func (c *content) uses(set int) bool {
	return slices.ContainsFunc(c.loads, func(l load) bool { return l.set == set })
}

// offers says that runs of a session may be by a set.
func (ma *master) offers(i, set int) bool {
	return !ma.li.absent(i, set) && slices.ContainsFunc(ma.rx.sess[i].offers, func(o offer) bool { return slices.Contains(o.sets, set) })
}

// someRun is the row of at least one run by a set in some sessions.
func someRun(set int, sessions []int) resource {
	return resource{cap: -1, kit: -1, sessions: sessions, sets: []int{set}, perRun: func(*offer) int64 { return -1 }}
}

// mixedAt is the goal's part in which a kit is mixed in a session.
func (ma *master) mixedAt(mx *mixing, i int) *master {
	rx := ma.rx
	c := ma.child(someRun(mx.set, []int{i}))
	c.mixedIn = make([]bool, len(rx.sets))
	copy(c.mixedIn, ma.mixedIn)
	c.mixedIn[mx.set] = true
	c.li.length = slices.Clone(ma.li.length)
	c.li.length[i] = min(rx.sess[i].length, c.li.length[i]) - rx.m.sets[mx.set].takes
	start := rx.m.sess[rx.sess[i].index].start
	c.li.keepAway(mx.set, func(o int) bool { return rx.m.sess[rx.sess[o].index].end <= start })
	c.dropBarred()
	return c
}

// mixedLater is the part in which it is on a later day.
func (ma *master) mixedLater(mx *mixing) *master {
	c := ma.child(someRun(mx.set, mx.then))
	c.li.keepAway(mx.set, func(o int) bool { return slices.Contains(mx.in, o) || slices.Contains(mx.sooner, o) })
	c.dropBarred()
	return c
}

// mix proves that the goal is not below the target for each way of mixing a kit.
func (tr *tree) mix(ma *master, mx *mixing) (bool, *master) {
	parts := ma.mixings(mx)
	return tr.parts(len(parts), func(k int) *master {
		c := parts[k]()
		c.solveOn(tr.expired)
		return c
	})
}

// mixings are the parts of a goal by where a kit is mixed: the likeliest sessions of the
// day first.
func (ma *master) mixings(mx *mixing) []func() *master {
	order := make([]int, len(mx.in))
	for k := range order {
		order[k] = k
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(mx.share[b], mx.share[a]) })
	var parts []func() *master
	for _, k := range order {
		parts = append(parts, func() *master { return ma.mixedAt(mx, mx.in[k]) })
	}
	if len(mx.then) > 0 {
		parts = append(parts, func() *master { return ma.mixedLater(mx) })
	}
	if len(mx.sooner) > 0 {
		parts = append(parts, func() *master { return ma.child(someRun(mx.set, mx.sooner)) })
	}
	return parts
}
