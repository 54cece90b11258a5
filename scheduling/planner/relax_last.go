package planner

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Where all film is to be dry at an instant, what is held to the last days leaves
// little time for more. Which rolls could still be there is told by endings, for those
// that the relaxation would have there.

// lastDays are the days on which film might hang last, for plans of some worth and by
// some choice of kits.
type lastDays struct {
	usable []bool // sets
	days   []lastDay
}

// A lastDay is sessions that overlap, with what is held to them.
type lastDay struct {
	span
	sess []int
	held [][]int
	// By type of roll and session: the last finish at which none of the type can be
	// there, and the first at which one can or nothing else is known.
	cannot, can map[[2]int]int64
}

const (
	lastNodes    = 1_500 // runs that are tried for one ending
	mostBarrings = 8     // how often a program is solved again without what cannot be there
)

// lastDays finds the days for a goal.
func (rx *relaxation) lastDays(g *goal) *lastDays {
	key := fmt.Sprint(g.kits, g.worth[:finish])
	if ld, ok := rx.lasts[key]; ok {
		return ld
	}
	bd := rx.bd
	ld := &lastDays{usable: make([]bool, len(rx.sets))}
	for s := range ld.usable {
		ld.usable[s] = g.kits == nil || g.kits[s] != shut
	}
	if bd.m.leadsLast() {
		must := bd.mustPlace(&g.worth)
		for _, c := range bd.clusters(nil) {
			d := lastDay{span: c.span, sess: c.sessions, cannot: make(map[[2]int]int64), can: make(map[[2]int]int64)}
			for _, s := range c.sessions {
				d.held = append(d.held, bd.heldTo(s, must))
			}
			ld.days = append(ld.days, d)
		}
	}
	rx.lasts[key] = ld
	return ld
}

// endsLater says that by a choice of kits what is held to the last days alone is dry
// later than the goal has it.
func (rx *relaxation) endsLater(kits []choice, g *goal) bool {
	of := *g
	of.kits = kits
	ld := rx.lastDays(&of)
	for d := range ld.days {
		day := &ld.days[d]
		if at := [2]int{-1, -1}; !ld.known(day, at, g.finish, func() bool {
			return day.to+rx.m.slowest() <= g.finish || ld.fits(rx, day, make([][]int, len(day.sess)), 0, g.finish)
		}) {
			return true
		}
	}
	return false
}

// known is whether something can be by an instant, worked out unless that is known.
func (ld *lastDays) known(d *lastDay, of [2]int, finish int64, can func() bool) bool {
	if last, ok := d.cannot[of]; ok && last >= finish {
		return false
	}
	if first, ok := d.can[of]; ok && first <= finish {
		return true
	}
	if !can() {
		d.cannot[of] = finish
		return false
	}
	d.can[of] = finish
	return true
}

// bars are what is known to be in no plan that finishes by an instant.
func (ld *lastDays) bars(rx *relaxation, finish int64) *bars {
	b := &bars{sessions: len(rx.sess), out: make([]bool, len(rx.types)*len(rx.sess))}
	for d := range ld.days {
		for at, last := range ld.days[d].cannot {
			if last >= finish && at[0] >= 0 {
				b.out[at[0]*b.sessions+at[1]] = true
				b.n++
			}
		}
	}
	return b
}

// takes says whether a roll of a type could be in a session beside what is held to its
// day, all dry by an instant, as far as that is known.
func (ld *lastDays) takes(rx *relaxation, d *lastDay, t, i int, finish int64) bool {
	more := make([][]int, len(d.sess))
	more[slices.Index(d.sess, rx.sess[i].index)] = rx.first(t, 1)
	return ld.known(d, [2]int{t, i}, finish, func() bool { return ld.fits(rx, d, more, 0, finish) })
}

// first are so many rolls of a type, those that are handed in first: where they have no
// time, others have none.
func (rx *relaxation) first(t, n int) []int {
	rolls := slices.Clone(rx.types[t].rolls)
	slices.SortStableFunc(rolls, func(a, b int) int { return cmp.Compare(rx.m.rolls[a].in, rx.m.rolls[b].in) })
	return rolls[:n]
}

// fits says whether more rolls, by session, could be there beside what is held to a
// day, in so many runs at most, 0 for any number, all dry by an instant, as far as that
// is known.
func (ld *lastDays) fits(rx *relaxation, d *lastDay, more [][]int, runs int, finish int64) bool {
	rolls := make([][]int, len(d.sess))
	for k := range d.sess {
		rolls[k] = append(slices.Clip(d.held[k]), more[k]...)
	}
	rx.spent += 20_000
	e := rx.bd.endingOf(d.sess, rolls, ld.usable, finish+1, lastNodes)
	if e == nil {
		return true
	}
	e.enough, e.runs = finish, runs
	v := e.solve()
	rx.spent += int64(lastNodes-e.nodes) * 2_000
	return v <= finish
}

// A crowd is what there is no time for on one of the last days: some rolls together, in
// so many runs at most.
type crowd struct {
	rolls []cut
	day   []int // sessions
	runs  int   // 0: any number
}

// crowd is one that the program has, with as few rolls as can be: none, where what is
// held there is too much by itself. It says whether there is any.
func (ma *master) crowd() (out crowd, found bool) {
	inTime(func() {
		ld := ma.rx.lastDays(&ma.goal)
		in := ma.rollsIn()
		for d := range ld.days {
			if day := &ld.days[d]; day.to+ma.rx.m.slowest() > ma.goal.finish {
				if out, found = ma.crowdOn(ld, day, in); found {
					return
				}
			}
		}
	})
	return out, found
}

// crowdOn is crowd for one day, of the rolls that the program has by session.
func (ma *master) crowdOn(ld *lastDays, day *lastDay, in []cut) (crowd, bool) {
	rx := ma.rx
	at := func(c *cut) int { return slices.Index(day.sess, rx.sess[c.key.b].index) }
	cr := crowd{}
	for i := range rx.sess {
		if slices.Contains(day.sess, rx.sess[i].index) {
			cr.day = append(cr.day, i)
		}
	}
	for _, c := range in {
		k := at(&c)
		if k < 0 || slices.ContainsFunc(day.held[k], func(r int) bool { return rx.typeOf[r] == int(c.key.a) }) {
			continue
		}
		if n := math.Floor(min(c.value, float64(rx.types[c.key.a].n)) + 1e-6); n > 0 {
			cr.rolls = append(cr.rolls, cut{c.key, n})
		}
	}
	fits := func() bool {
		more := make([][]int, len(day.sess))
		for i := range cr.rolls {
			k := at(&cr.rolls[i])
			more[k] = append(more[k], rx.first(int(cr.rolls[i].key.a), int(cr.rolls[i].value))...)
		}
		return ld.fits(rx, day, more, cr.runs, ma.goal.finish)
	}
	if fits() {
		if cr.runs = ma.runsOn(cr.day); cr.runs == 0 || fits() {
			return cr, false
		}
	}
	for i := 0; i < len(cr.rolls); { // fewer, as long as they do not fit
		cr.rolls[i].value--
		if fits() {
			cr.rolls[i].value++
			i++
		} else if cr.rolls[i].value == 0 {
			cr.rolls = slices.Delete(cr.rolls, i, i+1)
		}
	}
	return cr, true
}

// parts are what plans without a crowd are parted by: more runs, or one of the first of
// its rolls not there, or it is and one of the others is not. What one part is without is
// with all that follow.
func (cr *crowd) parts(rx *relaxation) (without, with []resource) {
	if cr.runs > 0 {
		some := func(sign, cap int64) resource {
			return resource{cap: cap, kit: -1, sessions: cr.day, perRun: func(*offer) int64 { return sign }}
		}
		without, with = append(without, some(-1, -int64(cr.runs)-1)), append(with, some(1, int64(cr.runs)))
	}
	for _, c := range cr.rolls {
		without, with = append(without, rx.row(c.key, 1, int64(c.value)-1)), append(with, rx.row(c.key, -1, -int64(c.value)))
	}
	return without, with
}

// runsOn is how many whole runs the program has in some sessions.
func (ma *master) runsOn(sessions []int) int {
	var sum float64
	for c, x := range ma.inUse() {
		if co := &ma.rx.pool[c]; slices.Contains(sessions, co.sess) {
			for n := range co.loads {
				sum += x * float64(co.loads[n].runs)
			}
		}
	}
	return int(sum + 1e-6)
}

// barLast bars what there is no time for beside what is held to the last days, as far
// as the program has any of it there, and solves on.
func (ma *master) barLast(expired func() bool) {
	rx, g := ma.rx, &ma.goal
	inTime(func() {
		ld := rx.lastDays(g)
		for range mostBarrings {
			if rx.whole(ma) >= g.target || expired() {
				return
			}
			more := ma.noTime(ld)
			if more.count() == 0 {
				return
			}
			ma.barAlso(ma.li.barred.join(more), expired)
		}
	})
}

// noTime are bars of what the program has on the last days, but they have no time for.
func (ma *master) noTime(ld *lastDays) *bars {
	rx := ma.rx
	out := &bars{sessions: len(rx.sess), out: make([]bool, len(rx.types)*len(rx.sess))}
	slowest := rx.m.slowest()
	for _, cut := range ma.rollsIn() {
		t, i := int(cut.key.a), int(cut.key.b)
		for d := range ld.days {
			day := &ld.days[d]
			k := slices.Index(day.sess, rx.sess[i].index)
			if k < 0 || day.to+slowest <= ma.goal.finish || slices.ContainsFunc(day.held[k], func(r int) bool { return rx.typeOf[r] == t }) {
				continue
			}
			if !ld.takes(rx, day, t, i, ma.goal.finish) {
				out.out[t*out.sessions+i] = true
				out.n++
			}
		}
	}
	return out
}

// rollsIn are how many rolls of each type each session has.
func (ma *master) rollsIn() []cut {
	var out []cut
	for k, v := range ma.counts() {
		if k.sort == countRolls {
			out = append(out, cut{k, v})
		}
	}
	sortCuts(out)
	return out
}
