package planner

import "slices"

// What is held to the sessions of the last days is dry no sooner than those alone
// can have it dry, whatever is elsewhere: see ending.

// heldTo are the rolls that are in one of some sessions in every plan that leaves
// out none of some others: those held there, and those that can be nowhere else.
func (bd *bounds) heldTo(sess int, must []bool) []int {
	m := bd.m
	var out []int
	for i := range m.rolls {
		if !must[i] || bd.of(i).at[sess] >= never {
			continue
		}
		elsewhere := false
		for s, at := range bd.of(i).at {
			elsewhere = elsewhere || s != sess && at < never
		}
		if !elsewhere {
			out = append(out, i)
		}
	}
	slices.SortStableFunc(out, func(a, b int) int { return m.rolls[a].typ - m.rolls[b].typ })
	return out
}

// lastBound is when all film can be dry at the soonest, if some sets are not to be
// used, for plans that place some rolls; most where it is no sooner than that, and
// known where no more is known.
func (bd *bounds) lastBound(must, usable []bool, known, most int64) int64 {
	if !bd.m.leadsLast() {
		return known
	}
	slowest := bd.m.slowest()
	for _, c := range slices.Backward(bd.clusters(nil)) {
		if c.to+slowest <= known {
			break
		}
		if e := bd.ending(c.sessions, must, usable, most); e != nil {
			known = max(known, e.solve())
		}
	}
	return known
}

// slowest is the longest that the fastest cabinet of a roll takes.
func (m *model) slowest() (out int64) {
	for i := range m.rolls {
		out = max(out, m.rolls[i].fastest%never)
	}
	return out
}

// leadsLast says that a class with a longer developing time is nowhere sooner done:
// then no company makes a run sooner.
func (m *model) leadsLast() bool {
	for a := range m.class {
		for b := range m.class {
			if a == b || !m.share(a, b) || !m.leads(a, b) {
				continue
			}
			x, y := &m.class[a], &m.class[b]
			if x.wet < y.wet || len(x.steps) != len(y.steps) {
				return false
			}
			for i := range x.steps {
				if x.steps[i].role != y.steps[i].role || x.steps[i].begins < y.steps[i].begins {
					return false
				}
			}
		}
	}
	return true
}

// ending is nil where the sessions hold nothing.
func (bd *bounds) ending(sessions []int, must, usable []bool, most int64) *ending {
	nodes := endNodes
	if bd.quick {
		nodes = endNodesQuick
	}
	rolls := make([][]int, len(sessions))
	for k, s := range sessions {
		rolls[k] = bd.heldTo(s, must)
	}
	return bd.endingOf(sessions, rolls, usable, most, nodes)
}
