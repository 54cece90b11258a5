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
// after another for a content of which there is much, and solves again. The
// master is left as it was.
type dive struct {
	ma      *master
	rng     *rand.Rand
	expired func() bool
	costs   []float64 // of columns, as they were
	away    float64   // what a content that is out costs
	settled []int     // by session: its content; −1 for none yet, −2 for nothing
	banned  map[int]bool
	most    float64 // what the linear program is to cost at most
	dead    bool    // it costs more, whatever else is tried
}

func (ma *master) dive(rng *rand.Rand, expired func() bool) *dive {
	dv := &dive{ma: ma, rng: rng, expired: expired, most: ma.least(), settled: make([]int, len(ma.rx.sess)), banned: make(map[int]bool)}
	for c := range ma.sx.cols {
		dv.costs = append(dv.costs, ma.sx.cols[c].cost)
	}
	for _, col := range ma.art {
		dv.away = max(dv.away, 8*ma.sx.cols[col].cost)
	}
	for i := range dv.settled {
		dv.settled[i] = -1
	}
	return dv
}

// out puts a content out, or with a sign of −1 in again.
func (dv *dive) out(c int, sign float64) {
	sx := dv.ma.sx
	col := dv.ma.colOf(c)
	sx.cols[col].cost += sign * dv.away
	sx.cols[col].off = sign > 0
}

// others puts all contents of a session out but one.
func (dv *dive) others(s, chosen int, sign float64) {
	for c := range dv.ma.rx.pool {
		if dv.ma.colOf(c) >= 0 && dv.ma.rx.pool[c].sess == s && c != chosen && !dv.banned[c] {
			dv.out(c, sign)
		}
	}
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
		dv.settled[s] = -2
		for c := range ma.rx.pool {
			if ma.colOf(c) >= 0 && ma.rx.pool[c].sess == s && ma.sx.value(ma.col[c]) > 0.5 {
				dv.settled[s] = c
			}
		}
		dv.others(s, dv.settled[s], 1)
	}
}

// try settles a session for a content, or for another where that costs too much.
func (dv *dive) try(c int) {
	s := dv.ma.rx.pool[c].sess
	least, at := math.Inf(1), -1
	for n := 0; ; n++ {
		dv.settled[s] = c
		dv.others(s, c, 1)
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
		dv.settled[s] = at
		dv.others(s, at, 1)
		dv.again()
	}
}

// cost is what the linear program costs now.
func (dv *dive) cost() float64 { return dv.ma.sx.objective()*dv.ma.per + float64(dv.ma.paidFor()) }

// allow has a content that was put out in again.
func (dv *dive) allow(c int) {
	delete(dv.banned, c)
	dv.out(c, -1)
}

// release takes back what was settled of a session.
func (dv *dive) release(s int) {
	dv.others(s, dv.settled[s], -1)
	dv.settled[s] = -1
}

// ban puts a content out for the rest of the dive.
func (dv *dive) ban(c int) {
	dv.out(c, 1)
	dv.banned[c] = true
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
	for c := range ma.sx.cols {
		if c < len(dv.costs) {
			ma.sx.cols[c].cost = dv.costs[c]
		}
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
func (dv *dive) again() {
	ma := dv.ma
	rx, sx := ma.rx, ma.sx
	for range diveRounds {
		sx.price()
		sx.solve(500)
		ma.read()
		added := 0
		for i := range rx.sess {
			if dv.settled[i] != -1 || dv.expired() {
				continue
			}
			best := rx.pr.session(&ma.pr, &ma.li, i)
			if float64(best) > (sx.dual[ma.rowSess+i]+1e-7)*ma.scale*ma.per*1.000001 && ma.learn(i) {
				added++
			}
		}
		if added == 0 {
			return
		}
	}
	sx.solve(500)
}
