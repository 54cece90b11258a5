package planner

import (
	"math"
	"math/rand/v2"
	"slices"
)

// mostRetreats bounds how often a dive takes a choice back because it costs
// more than the bound, and mostTries how often for one cluster of sessions
// because its runs cannot be placed as the relaxation has it.
const (
	mostRetreats = 5
	mostTries    = 8
)

// A dive turns a master's optimum into whole contents: it settles one session
// after another for an outline (see draw), or for a content, of which there is much,
// and solves again. The master is left as it was.
type dive struct {
	ma      *master
	rng     *rand.Rand
	expired func() bool
	costs   []float64 // of columns, as they were
	away    float64   // what a content that is out costs
	outs    []int     // by content: for how many reasons it is out
	settled []int     // by session: its content; −1 for none yet, −2 for nothing
	others  [][]int   // by session: the contents that are out for the one it is settled for
	outline []int     // by session: the outline it is to have, −1 for any
	like    []int     // by session: a content of that
	unlike  [][]int   // by session: the contents that are out for that
	drawn   []int     // by session: the content that was found for its outline, −1 for none
	banned  map[int]bool
	refused map[int][]int // outlines, with the contents that are out for it
	most    float64       // what the linear program is to cost at most
	dead    bool          // it costs more, whatever else is tried
	length  []int64       // of sessions, as it was
	absent  []bool        // sets in sessions, as it was
}

func (ma *master) dive(rng *rand.Rand, expired func() bool) *dive {
	sessions := len(ma.rx.sess)
	dv := &dive{
		ma: ma, rng: rng, expired: expired, most: ma.least(), length: slices.Clone(ma.li.length), absent: ma.li.away, banned: make(map[int]bool), refused: make(map[int][]int),
		settled: make([]int, sessions), others: make([][]int, sessions), outline: make([]int, sessions), unlike: make([][]int, sessions),
	}
	if ma.goal.level <= lateness {
		dv.most = max(dv.most, math.Ceil(dv.cost()-1e-4)+1e-3)
	}
	for c := range ma.sx.cols {
		dv.costs = append(dv.costs, ma.sx.cols[c].cost)
	}
	for _, col := range ma.art {
		dv.away = max(dv.away, 8*ma.sx.cols[col].cost)
	}
	for _, col := range ma.extra { // contents may have more rolls than there are, for now
		ma.sx.cols[col].cost, ma.sx.cols[col].off = 0, false
	}
	for i := range dv.settled {
		dv.settled[i], dv.outline[i] = -1, -1
		dv.drawn, dv.like = append(dv.drawn, -1), append(dv.like, -1)
	}
	return dv
}

// out puts a content out.
func (dv *dive) out(c int) {
	for len(dv.outs) <= c {
		dv.outs = append(dv.outs, 0)
	}
	if dv.outs[c]++; dv.outs[c] == 1 {
		dv.price(c, 1)
	}
}

// in takes back that a content was put out.
func (dv *dive) in(c int) {
	if dv.outs[c]--; dv.outs[c] == 0 {
		dv.price(c, -1)
	}
}

// price makes a content cost more, or with a sign of −1 what it did.
func (dv *dive) price(c int, sign float64) {
	sx := dv.ma.sx
	col := dv.ma.colOf(c)
	sx.cols[col].cost += sign * dv.away
	sx.cols[col].off = sign > 0
}

// only puts all contents of a session out that are not wanted, and gives them.
func (dv *dive) only(s int, wanted func(c int) bool) []int {
	var out []int
	for c := range dv.ma.rx.pool {
		if dv.ma.colOf(c) >= 0 && dv.ma.rx.pool[c].sess == s && !wanted(c) {
			dv.out(c)
			out = append(out, c)
		}
	}
	return out
}

// back has contents in again.
func (dv *dive) back(list []int) {
	for _, c := range list {
		dv.in(c)
	}
}

// choose settles a session for a content.
func (dv *dive) choose(s, c int) {
	dv.settled[s] = c
	dv.others[s] = dv.only(s, func(o int) bool { return o == c })
}

// release takes back what was settled of a session.
func (dv *dive) release(s int) {
	dv.back(dv.others[s])
	dv.settled[s], dv.others[s] = -1, nil
}

// settle settles some sessions.
func (dv *dive) settle(sessions []int) {
	ma := dv.ma
	for !dv.expired() {
		best := dv.largest(sessions)
		if best < 0 {
			break
		}
		dv.try(best)
	}
	for _, s := range sessions { // those that are whole by themselves
		if dv.settled[s] != -1 {
			continue
		}
		whole := -2
		for c := range ma.rx.pool {
			if ma.colOf(c) >= 0 && ma.rx.pool[c].sess == s && ma.sx.value(ma.col[c]) > 0.5 {
				whole = c
			}
		}
		dv.choose(s, whole)
	}
}

// try settles a session for a content, or for another where that costs too much.
func (dv *dive) try(c int) {
	s := dv.ma.rx.pool[c].sess
	least, at := math.Inf(1), -1
	for n := 0; ; n++ {
		dv.choose(s, c)
		dv.again()
		obj := dv.cost()
		if obj <= dv.most || dv.dead || dv.expired() {
			return
		}
		if obj < least {
			least, at = obj, c
		}
		if n == mostRetreats {
			break
		}
		dv.release(s)
		dv.ban(c)
		dv.again()
		if c = dv.largest([]int{s}); c < 0 {
			return // it is whole by itself, or nothing
		}
	}
	dv.dead = true
	if at != c {
		dv.release(s)
		dv.allow(at)
		dv.choose(s, at)
		dv.again()
	}
}

// cost is what the linear program costs now.
func (dv *dive) cost() float64 { return dv.ma.sx.objective()*dv.ma.per + float64(dv.ma.paidFor()) }

// ban puts a content out for the rest of the dive.
func (dv *dive) ban(c int) {
	dv.out(c)
	dv.banned[c] = true
}

// allow takes that back.
func (dv *dive) allow(c int) {
	delete(dv.banned, c)
	dv.in(c)
}

// largest is the content, of sessions not settled, of which there is most
// without being all; −1 when there is none. After a master's first dive it draws
// lots.
func (dv *dive) largest(sessions []int) int {
	ma := dv.ma
	best, most := -1, 0.0
	for c := range ma.rx.pool {
		if s := ma.rx.pool[c].sess; ma.colOf(c) < 0 || dv.settled[s] != -1 || !slices.Contains(sessions, s) {
			continue
		}
		x := ma.sx.value(ma.col[c])
		if x < 0.001 || x > 0.999 {
			continue
		}
		if ma.dives > 0 {
			x *= 0.3 + dv.rng.Float64()
		}
		if x > most {
			best, most = c, x
		}
	}
	return best
}

// end leaves the master as it was.
func (dv *dive) end() {
	ma := dv.ma
	ma.li.length, ma.li.away = dv.length, dv.absent
	for c := range ma.sx.cols {
		if c < len(dv.costs) {
			ma.sx.cols[c].cost = dv.costs[c]
		}
	}
	for _, col := range ma.extra {
		ma.sx.cols[col].off = true
	}
	for c := range ma.rx.pool {
		if col := ma.colOf(c); col >= 0 {
			if ma.sx.cols[col].off && col >= len(dv.costs) {
				ma.sx.cols[col].cost -= dv.away
			}
			ma.sx.cols[col].off = false
		}
	}
	ma.dives++
}

// least is what plans as good as the goal's bound cost at most.
func (ma *master) least() float64 {
	least := ma.proved()
	if ma.goal.level == chemistry { // what each set wastes is rounded down
		least = ma.rx.roundUp(least) + int64(ma.rx.waste)
	}
	if ma.goal.target > 0 && ma.goal.finish > 0 {
		least = max(least, ma.goal.target-1)
	}
	return float64(least) + 1e-3
}

// provenBy is what plans cost at least by all that is proved of the goal's level.
func (ma *master) provenBy(pf *proofs) float64 {
	if ma.goal.level < 0 || ma.goal.finish > 0 {
		return 0
	}
	least := pf.bound(&ma.goal.worth, ma.goal.level)
	if ma.goal.level == chemistry {
		least += int64(ma.rx.waste)
	}
	return float64(least) + 1e-3
}

// paidFor is what the level costs before anything is placed.
func (ma *master) paidFor() int64 {
	if ma.goal.level == chemistry {
		return ma.paid
	}
	return 0
}

// refresh solves again after a dive.
func (ma *master) refresh() {
	if ma.dives > 0 {
		ma.sx.solve(1_000)
	}
}

// diveRounds bounds how often contents are priced after a session is settled.
const diveRounds = 3

// again solves with some sessions settled.
func (dv *dive) again() { dv.goOn(diveRounds, false) }

// sketchRounds bounds how often they are after one is settled for an outline.
const sketchRounds = 8

// goOn solves with some sessions settled, contents being priced so often at most, and no
// longer than it costs too much, if that will do.
func (dv *dive) goOn(rounds int, willDo bool) {
	ma := dv.ma
	rx, sx := ma.rx, ma.sx
	for range rounds {
		sx.price()
		sx.solve(500)
		if willDo && dv.cost() <= dv.most {
			return
		}
		ma.read()
		added := 0
		for i := range rx.sess {
			if dv.settled[i] != -1 || dv.expired() {
				continue
			}
			if dv.outline[i] >= 0 {
				if dv.refill(i) {
					added++
				}
				continue
			}
			best := rx.pr.session(&ma.pr, &ma.li, i)
			if float64(best) > (sx.dual[ma.rowSess+i]+1e-7)*ma.scale*ma.per*1.000001 && ma.learn(i) && !dv.bars() {
				added++
			}
		}
		if added == 0 {
			return
		}
	}
	sx.solve(500)
}
