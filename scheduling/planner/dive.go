package planner

import (
	"math/rand/v2"
	"slices"
)

// mostRetreats bounds how often a dive takes a choice back because it costs
// more than the bound, and mostTries how often for one cluster of sessions
// because its runs cannot be placed as the relaxation has it.
const (
	mostRetreats = 25
	mostTries    = 8
)

// A dive turns a master's optimum into whole contents: it settles one session
// after another for a content of which there is much, and solves again. The
// master is left as it was.
type dive struct {
	ma       *master
	rng      *rand.Rand
	expired  func() bool
	cost     []float64 // of columns, as they were
	away     float64   // what a content that is out costs
	settled  []int     // by session: its content; −1 for none yet, −2 for nothing
	banned   map[int]bool
	retreats int
}

func (ma *master) dive(rng *rand.Rand, expired func() bool) *dive {
	dv := &dive{ma: ma, rng: rng, expired: expired, settled: make([]int, len(ma.rx.sess)), banned: make(map[int]bool)}
	for c := range ma.sx.cols {
		dv.cost = append(dv.cost, ma.sx.cols[c].cost)
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
		s := ma.rx.pool[best].sess
		dv.settled[s] = best
		dv.others(s, best, 1)
		dv.again()
		if dv.retreats < mostRetreats && !ma.within() {
			dv.retreats++
			dv.release(s)
			dv.ban(best)
			dv.again()
		}
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
		if c < len(dv.cost) {
			ma.sx.cols[c].cost = dv.cost[c]
		}
	}
	for c := range ma.rx.pool {
		if col := ma.colOf(c); col >= 0 {
			if ma.sx.cols[col].off && col >= len(dv.cost) {
				ma.sx.cols[col].cost -= dv.away
			}
			ma.sx.cols[col].off = false
		}
	}
	ma.dives++
}

// within says that the linear program still costs no more than the goal's bound.
func (ma *master) within() bool {
	most := ma.proved()
	if ma.goal.level == chemistry { // what each set wastes is rounded down
		most = ma.rx.roundUp(most) + int64(ma.rx.waste)
	}
	if ma.goal.target > 0 && ma.goal.finish > 0 {
		most = max(most, ma.goal.target-1)
	}
	return ma.sx.objective()*ma.per+float64(ma.paidFor()) <= float64(most)+1e-3
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
