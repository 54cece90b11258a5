package planner

import "slices"

// mixIn leaves a session so much less time, and solves again. It gives what takes that
// back.
func (dv *dive) mixIn(i int, takes int64) (undo func()) {
	ma := dv.ma
	rx := ma.rx
	before := ma.li.length[i]
	ma.li.length[i] = min(before, rx.sess[i].length) - takes
	var banned []int
	for c := range rx.pool {
		if ma.colOf(c) >= 0 && rx.pool[c].sess == i && rx.pool[c].length > ma.li.length[i] {
			dv.out(c)
			banned = append(banned, c)
		}
	}
	dv.again()
	return func() {
		ma.li.length[i] = before
		dv.back(banned)
	}
}

// without keeps a set out of a cluster, and solves again.
func (dv *dive) without(cluster []int, set int) (undo func()) {
	ma := dv.ma
	rx := ma.rx
	before := ma.li.away
	ma.li.keepAway(set, func(i int) bool { return slices.Contains(cluster, i) })
	var banned []int
	for c := range rx.pool {
		if ma.colOf(c) >= 0 && slices.Contains(cluster, rx.pool[c].sess) && slices.ContainsFunc(rx.pool[c].loads, func(l load) bool { return l.set == set }) {
			dv.out(c)
			banned = append(banned, c)
		}
	}
	dv.again()
	return func() {
		ma.li.away = before
		dv.back(banned)
	}
}
