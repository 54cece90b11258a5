package planner

import (
	"encoding/binary"
	"math"
	"slices"
)

// mostRounds bounds how often contents are priced for one goal.
const mostRounds = 200

// pivotsPerRow bounds the pivots of the linear program of one goal: where it goes
// round in circles the bound it has by then stands.
const pivotsPerRow = 100

// solve generates columns until the goal's target is proved, nothing betters
// the relaxation, or the clock says so.
func (ma *master) solve(expired func() bool) {
	rx, sx := ma.rx, ma.sx
	ma.scale = 1 << 32
	if ma.goal.level == lateness || ma.goal.upTo > lateness {
		var most float64
		for t := range rx.types {
			most += float64(rx.types[t].n) * float64(rx.types[t].out)
		}
		for ma.scale > 1 && most*ma.scale > 1<<54 {
			ma.scale /= 2
		}
	}
	unit := append([]int(nil), ma.art...)
	for len(unit) < len(sx.rhs) {
		unit = append(unit, -1)
	}
	for s, col := range ma.wasted {
		if at := ma.at[ma.rowWaste+s]; at >= 0 {
			unit[at] = col
		}
	}
	sx.start(unit)
	ma.cheapenArtificial()
	defer ma.restoreArtificial()
	ma.generate(pivotsPerRow*len(sx.rhs), mostRounds, expired)
}

// generate pivots and prices, so often at most, until the goal's target is
// proved, nothing betters the relaxation, or the clock says so.
func (ma *master) generate(pivots, rounds int, expired func() bool) {
	rx, sx := ma.rx, ma.sx
	most := sx.pivots + pivots
	for end := ma.rounds + rounds; ma.rounds < end && sx.pivots < most && !expired(); ma.rounds++ {
		sx.solve(most - sx.pivots)
		ma.read()
		var sum int64
		added := 0
		for i := range rx.sess {
			best := rx.pr.session(&ma.pr, &ma.li, i)
			sum += best
			sigma := sx.dual[ma.rowSess+i]
			if float64(best) > (sigma+1e-7)*ma.scale*ma.per*1.000001 && ma.learn(i) {
				added++
			}
		}
		ma.last = ma.lagrange(sum)
		ma.bound = max(ma.bound, ma.last)
		if ma.goal.target > 0 && ma.proved() >= ma.goal.target {
			return
		}
		obj := sx.objective()*ma.per + float64(ma.paidFor())
		// In the second case no more rounds can prove the next whole number.
		if done := added == 0 || ma.goal.level != none && float64(ma.proved()) >= obj-1e-6*(1+obj); done {
			if !ma.raiseArtificial() {
				return
			}
		} else if ma.step != nil && float64(ma.bound) > raisedFrom*ma.scale*obj {
			ma.raiseArtificial()
		}
		if ma.hopeless() {
			return
		}
	}
}

// hopeless says that the linear program costs too little already for the target:
// more contents only make it cost less.
func (ma *master) hopeless() bool {
	if !ma.half {
		return false
	}
	most := int64(math.Ceil(ma.sx.objective()*ma.per + float64(ma.paidFor()) - 1e-4))
	if ma.goal.level == chemistry {
		most = ma.rx.roundUp(most)
	}
	return most < ma.goal.target
}

// cheapenArtificial lets artificial rolls cost little more at first than a roll
// costs at least. That keeps the prices of rolls, which cannot be above that, in
// a narrow range (boxstep: Marsten, Hogan and Blankenship 1975), where sessions
// do not fill with what is dearest if it is late; far fewer rounds and pivots
// lead to the optimum from there.
func (ma *master) cheapenArtificial() {
	if ma.goal.level != lateness {
		return
	}
	for t := range ma.rx.types {
		ty := &ma.rx.types[t]
		least := min(ty.out, slices.Min(ty.late))
		ma.step = append(ma.step, 1)
		ma.sx.cols[ma.art[t]].cost = min(float64(least)+ma.step[t], ma.dear)
	}
}

// raisedFrom is from which part of the objective a bound is good enough for
// artificial rolls to become dearer: to wait for the optimum of every range takes
// overloaded weeks, whose prices are high, three times the pivots.
const raisedFrom = 0.3

// raiseArtificial makes artificial rolls that are used dearer, and says whether
// there are any that could be.
func (ma *master) raiseArtificial() bool {
	raised := false
	for t := range ma.step {
		c := &ma.sx.cols[ma.art[t]]
		if ma.sx.value(ma.art[t]) > 1e-5 && c.cost < ma.dear {
			c.cost = min(c.cost+ma.step[t], ma.dear)
			ma.step[t] *= 4
			raised = true
		}
	}
	return raised
}

// restoreArtificial makes artificial rolls as dear as they are to be.
func (ma *master) restoreArtificial() {
	for t := range ma.step {
		ma.sx.cols[ma.art[t]].cost = ma.dear
	}
}

// learn makes a column of what the last pricing of a session found, unless it
// is there already.
func (ma *master) learn(i int) bool {
	return ma.know(ma.rx.pr.content(&ma.pr, &ma.li, i))
}

// know makes a column of a content, unless it is there already.
func (ma *master) know(c content) bool {
	rx := ma.rx
	key := c.key()
	if at, ok := rx.keys[key]; ok {
		if ma.colOf(at) >= 0 {
			return false
		}
		ma.add(at)
		return true
	}
	rx.keys[key] = len(rx.pool)
	rx.pool = append(rx.pool, c)
	ma.add(len(rx.pool) - 1)
	return true
}

// key tells contents apart.
func (c *content) key() string {
	var room [256]byte
	out := room[:0]
	put := func(n int64) { out = binary.AppendVarint(out, n) }
	flag := func(b bool) {
		if b {
			put(1)
		} else {
			put(0)
		}
	}
	put(int64(c.sess))
	put(int64(len(c.items)))
	for _, it := range c.items {
		put(int64(it.typ))
		put(int64(it.set))
		put(it.n)
		flag(it.early)
	}
	for _, l := range c.loads {
		put(int64(l.offer))
		put(int64(l.set))
		put(l.runs)
		put(int64(len(l.reels)))
		for _, n := range l.reels {
			put(int64(n))
		}
		put(l.prep)
		flag(l.early)
	}
	return string(out)
}
