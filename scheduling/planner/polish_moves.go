package planner

import "slices"

// opens says that all rolls of a run may be in a session, and no later there, taken
// alone, than they are.
func (po *polish) opens(i, sess int) bool {
	for n, r := range po.plan[i].rolls {
		if !po.timely(r, po.dryOf(i, n), sess) {
			return false
		}
	}
	return true
}

// timely says that a roll that is dry at an instant may be in a session, and no later
// there, taken alone.
func (po *polish) timely(r int, dry int64, sess int) bool {
	ro := &po.sr.m.rolls[r]
	return ro.open[sess] && ro.late(po.bd.look(r).at[sess]) <= ro.late(dry)
}

// dryOf is when the nth roll of a batch is dry.
func (po *polish) dryOf(i, n int) int64 {
	b := po.plan[i]
	return b.end + po.sr.m.cabs[b.cabs[n]].dry
}

// elsewhere moves a run to another session.
func (po *polish) elsewhere(i int) bool {
	for sess := range po.sr.m.sess {
		if to := po.specs[i]; sess != to.sess && po.opens(i, sess) {
			if to.sess = sess; po.over() || po.with(change{i, to}) {
				return !po.over()
			}
		}
	}
	return false
}

// otherwise has a run use another set.
func (po *polish) otherwise(i int) bool {
	m := po.sr.m
	for _, set := range m.setsOf[m.class[po.plan[i].class].process] {
		if to := po.specs[i]; set != to.set && !po.over() {
			if to.set = set; po.fits(&to) && po.with(change{i, to}) {
				return true
			}
		}
	}
	return false
}

// trade moves a run to another session, and one of the runs there to any other.
func (po *polish) trade(i int) bool {
	for j, o := range po.plan {
		if j == i || o.sess == po.plan[i].sess || !po.opens(i, o.sess) {
			continue
		}
		for sess := range po.sr.m.sess {
			if sess == o.sess || !po.opens(j, sess) {
				continue
			}
			one, other := po.specs[i], po.specs[j]
			one.sess, other.sess = o.sess, sess
			if po.over() || po.with(change{i, one}, change{j, other}) {
				return !po.over()
			}
		}
	}
	return false
}

// giveAny moves a roll of a run to another.
func (po *polish) giveAny(i int) bool {
	for n := range po.plan[i].rolls {
		if po.over() || po.give(i, n) {
			return !po.over()
		}
	}
	return false
}

// swapAny exchanges a roll of a run for one of another.
func (po *polish) swapAny(i int) bool {
	for n, r := range po.plan[i].rolls {
		for j, b := range po.plan {
			if j == i || !po.joins(r, j) || !po.timely(r, po.dryOf(i, n), b.sess) {
				continue
			}
			for k, q := range b.rolls {
				if !po.joins(q, i) || !po.timely(q, po.dryOf(j, k), po.plan[i].sess) || po.sr.m.rolls[q].typ == po.sr.m.rolls[r].typ {
					continue
				}
				one, other := po.without(i, r, q), po.without(j, q, r)
				if po.over() || po.fits(&one) && po.fits(&other) && po.with(change{i, one}, change{j, other}) {
					return !po.over()
				}
			}
		}
	}
	return false
}

// giveOn moves a roll of a run to another, which makes room by a roll that it moves on.
func (po *polish) giveOn(i int) bool {
	for n, r := range po.plan[i].rolls {
		for j, b := range po.plan {
			if j == i || !po.joins(r, j) || !po.timely(r, po.dryOf(i, n), b.sess) {
				continue
			}
			for k, q := range b.rolls {
				more := po.without(j, q, r)
				if !po.fits(&more) {
					continue
				}
				for l, c := range po.plan {
					if l == i || l == j || !po.joins(q, l) || !po.timely(q, po.dryOf(j, k), c.sess) {
						continue
					}
					last := po.without(l, -1, q)
					if po.over() || po.fits(&last) && po.with(change{i, po.without(i, r, -1)}, change{j, more}, change{l, last}) {
						return !po.over()
					}
				}
			}
		}
	}
	return false
}

// joins says that a roll may be in the runs of a batch, as far as its class goes.
func (po *polish) joins(r, i int) bool {
	m, b := po.sr.m, po.plan[i]
	return b.class == m.rolls[r].class || m.share(b.class, m.rolls[r].class)
}

// without is a run without a roll, and with another; −1 for none.
func (po *polish) without(i, r, with int) spec {
	sp := po.specs[i]
	sp.rolls = slices.DeleteFunc(slices.Clone(sp.rolls), func(o int) bool { return o == r })
	if with >= 0 {
		sp.rolls = append(sp.rolls, with)
	}
	po.limit(&sp)
	return sp
}

// give moves a roll of one batch to another.
func (po *polish) give(i, n int) bool {
	r := po.plan[i].rolls[n]
	for j, b := range po.plan {
		if j == i || !po.joins(r, j) || !po.timely(r, po.dryOf(i, n), b.sess) {
			continue
		}
		more := po.without(j, -1, r)
		if po.over() || po.fits(&more) && po.with(change{i, po.without(i, r, -1)}, change{j, more}) {
			return !po.over()
		}
	}
	return false
}
