package planner

import (
	"cmp"
	"slices"
)

// mostDraws bounds how often outlines are settled anew because some have no timetable.
const mostDraws = 3

// draw settles sessions for outlines, and these for rolls, and places the runs. Where
// those of overlapping sessions have no timetable it learns from that, and begins again.
// It says whether all are placed.
func (sr *search) draw(dv *dive, stop func() bool) bool {
	for range mostDraws {
		if !dv.takeWhole() && (!dv.sketch() || stop() || !dv.assign()) {
			return false
		}
		cluster, specs := sr.placeDrawn(dv)
		if cluster == nil {
			return true
		}
		if !sr.learnFrom(dv, cluster, specs) {
			return false
		}
		dv.rubOut()
		dv.again()
	}
	return false
}

// placeDrawn places the runs of what was drawn. It gives the first overlapping sessions
// whose runs have no timetable, with these; nil when all have one.
func (sr *search) placeDrawn(dv *dive) (cluster []int, specs []spec) {
	rx := dv.ma.rx
	sr.s.reset()
	given := make([]bool, len(sr.m.rolls))
	for _, cluster := range rx.clusters {
		var specs []spec
		var promised int64
		for _, i := range cluster {
			if c := dv.drawn[i]; c >= 0 {
				sp, p := rx.runs(&rx.pool[c], &dv.ma.li, given, sr.m.urgent)
				specs, promised = append(specs, sp...), promised+p
			}
		}
		if !sr.schedule(rx, specs, promised) {
			return cluster, specs
		}
	}
	return nil, nil
}

// learnFrom has a dive do without what a cluster had no timetable for; false where that
// costs too much.
func (sr *search) learnFrom(dv *dive, cluster []int, specs []spec) bool {
	ma, s := dv.ma, sr.s
	rx := ma.rx
	length := func(i int) int64 { return rx.pool[dv.drawn[i]].length }
	idle := func(i int) int64 { return min(rx.sess[i].length, ma.li.length[i]) - length(i) }
	for set := range rx.sets {
		takes := rx.m.sets[set].takes
		if !rx.sets[set].kit || s.mixedAt[set] != never || takes == 0 || ma.settledIn(set) {
			continue
		}
		var users []int
		for _, i := range cluster {
			if dv.drawn[i] >= 0 && slices.ContainsFunc(rx.pool[dv.drawn[i]].loads, func(l load) bool { return l.set == set }) {
				users = append(users, i)
			}
		}
		if len(users) == 0 || slices.ContainsFunc(users, func(i int) bool { return idle(i) >= takes }) {
			continue
		}
		for i := range dv.outline {
			dv.letGo(i)
		}
		slices.SortStableFunc(users, func(a, b int) int { return cmp.Compare(idle(b), idle(a)) })
		for _, i := range users {
			undo := dv.mixIn(i, takes)
			if dv.cost() <= dv.most {
				return true
			}
			undo()
		}
		undo := dv.without(cluster, set)
		if dv.cost() <= dv.most {
			return true
		}
		undo()
		return false
	}
	// A session that has no timetable by itself, or else the fullest.
	bad := -1
	for _, i := range cluster {
		if dv.drawn[i] < 0 {
			continue
		}
		var own []spec
		for _, sp := range specs {
			if sp.sess == rx.sess[i].index {
				own = append(own, sp)
			}
		}
		if !sr.schedule(rx, own, -never) {
			bad = i
			break
		}
		sr.undo(len(s.batches) - len(own))
		if bad < 0 || idle(i) < idle(bad) {
			bad = i
		}
	}
	if bad < 0 {
		return false
	}
	dv.refuse(bad, dv.outline[bad])
	return true
}

// rubOut lets all outlines go.
func (dv *dive) rubOut() {
	for i := range dv.outline {
		dv.letGo(i)
		dv.drawn[i] = -1
	}
}

// forget lets all outlines go, and what was learnt of them.
func (dv *dive) forget() {
	dv.rubOut()
	clear(dv.refused)
	for c := range dv.outs {
		if dv.outs[c] > 0 {
			dv.outs[c] = 1
			dv.in(c)
		}
	}
	copy(dv.ma.li.length, dv.length)
	dv.ma.li.away = dv.absent
	dv.again()
}
