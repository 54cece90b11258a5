package planner

import (
	"math"
	"slices"
)

// A goal is what the relaxation is to minimise, among plans that are no worse
// than given values at the levels above.
type goal struct {
	level int   // the level to minimise; none: only whether there is a plan
	worth worth // values of the levels above, which are not to be exceeded
	upTo  int   // how many levels are bound by worth
	// finish, if not 0, is when all film must be dry.
	finish int64
	// kits, if not nil, says of each set still on the shelf whether it is mixed.
	kits []choice
	// target ends the work once the bound reaches it.
	target int64
	barred *bars // what no plan so good has
}

// A choice is what is settled of a kit.
type choice int8

const (
	open choice = iota
	mixed
	shut
)

// choice is what the goal has settled of a set.
func (ma *master) choice(set int) choice {
	if ma.goal.kits == nil {
		return open
	}
	return ma.goal.kits[set]
}

// none asks whether there is any plan at all: the bound is above 0 when not.
const none = -1

// A master is the linear program of one goal.
type master struct {
	rx    *relaxation
	goal  goal
	li    limits
	sx    *simplex
	scale float64 // prices are in units of 1/scale
	per   float64 // how many units of the level cost 1 in the linear program
	pr    prices
	at    []int // by row: where the linear program has it, −1: nowhere

	rowSess, rowArea, rowKit, rowWaste      int
	rowLate, rowChem, rowRuns, rowOut, rowR int
	art, wasted, left, kit, spare           []int // columns
	extra                                   []int // of rolls that there are not, for dives
	newest                                  int   // the content added last
	col                                     []int // by content in the pool, −1: not there
	paid                                    int64 // for kits that are settled to be mixed

	dear float64   // what an artificial roll costs in the end
	step []float64 // by type: by how much its artificial roll becomes dearer next; nil: it is not cheaper than dear

	sum     []float64
	bound   int64 // best proved so far, scaled
	last    int64 // what the last round proved
	rounds  int
	dives   int
	half    bool    // of a goal that was split
	mixedIn []bool  // by set: it is settled where it is mixed
	full    *master // with sets filled in whole rolls, once that was asked for
}

const inactive = 1e15

func (rx *relaxation) master(g goal) *master {
	ma := &master{rx: rx, goal: g, bound: math.MinInt64, per: 1}
	if g.level == chemistry {
		ma.per = 1024
	}
	for s := range rx.sets {
		if rx.sets[s].kit && ma.choice(s) == mixed {
			ma.paid += rx.sets[s].price
		}
	}
	ma.limit()
	types, sess, sets := len(rx.types), len(rx.sess), len(rx.sets)
	ma.rowSess = types
	ma.rowArea = ma.rowSess + sess
	ma.rowKit = ma.rowArea + sets
	ma.rowWaste = ma.rowKit + sets
	ma.rowLate = ma.rowWaste + sets
	ma.rowChem, ma.rowRuns, ma.rowOut, ma.rowR = ma.rowLate+1, ma.rowLate+2, ma.rowLate+3, ma.rowLate+4
	rhs := make([]float64, ma.rowR+len(ma.li.rows))
	for t := range rx.types {
		rhs[t] = float64(rx.types[t].n)
	}
	for i := range rx.sess {
		rhs[ma.rowSess+i] = -1
	}
	for s := range rx.sets {
		se := &rx.sets[s]
		rhs[ma.rowArea+s] = -float64(se.area) / area1
		if se.area >= never {
			rhs[ma.rowArea+s] = -inactive
		}
		if se.kit && ma.choice(s) != mixed {
			rhs[ma.rowArea+s] = 0
		}
		if rhs[ma.rowKit+s] = -1; ma.choice(s) == shut {
			rhs[ma.rowKit+s] = 0
		}
		if se.waste > 0 && se.unused > 0 {
			rhs[ma.rowWaste+s] = float64(se.unused) / area1
		}
	}
	for n, r := range []int{ma.rowLate, ma.rowChem, ma.rowRuns} {
		rhs[r] = -inactive
		if g.upTo > lateness+n {
			rhs[r] = -float64(ma.cap(lateness + n))
			if lateness+n == chemistry {
				rhs[r] /= price1
			}
		}
	}
	rhs[ma.rowOut] = -float64(ma.cap(displaced))
	if g.upTo <= displaced {
		rhs[ma.rowOut] = -inactive
	}
	for r := range ma.li.rows {
		if k := ma.li.rows[r].kit; k < 0 || ma.choice(k) == mixed {
			rhs[ma.rowR+r] = -float64(ma.li.rows[r].cap) / ma.li.rows[r].unit()
		}
	}
	ma.sx = newSimplex(ma.keepRows(rhs))
	ma.sx.spent = &rx.spent
	for t := range rx.types {
		ma.sx.equal[t] = ma.countsOnce(t)
	}
	ma.addFixed()
	for c := range rx.pool {
		if ma.allows(&rx.pool[c]) {
			ma.add(c)
		}
	}
	return ma
}

// area1 is the area that LP rows of sets count in, for the sake of numbers of
// like size.
const area1 = 50_000

// price1 is the same for prices.
const price1 = 1024

// countsOnce says that rolls of a type are to be in contents no more often than there are
// of them: baths that expire would be filled with the others. For the finish that proves
// less than it costs.
func (ma *master) countsOnce(t int) bool {
	g := &ma.goal
	return g.finish == 0 && (g.level == chemistry || g.upTo > chemistry) && ma.rx.fillers()[t]
}

// cap is what a plan may have at a level. What a set wastes is rounded down set
// by set, so all sets together are worth less than one unit each more.
func (ma *master) cap(level int) int64 {
	c := ma.goal.worth[level]
	switch level {
	case lateness:
		for i := range ma.rx.m.rolls {
			if !ma.rx.bd.look(i).possible {
				c -= ma.rx.m.rolls[i].out
			}
		}
	case displaced:
		for i := range ma.rx.m.rolls {
			if !ma.rx.bd.look(i).possible {
				c -= ma.rx.m.rolls[i].displacedCount
			}
		}
	case chemistry:
		c += int64(ma.rx.waste) - ma.paid
	}
	return max(c, 0)
}

func (ma *master) limit() {
	rx := ma.rx
	ma.li = limits{length: make([]int64, len(rx.sess)), dry: never, shut: make([]bool, len(rx.sets)), rows: rx.rows, byRow: rx.byRow, barred: ma.goal.barred, early: rx.usualEarly(), jumps: rx.jumps}
	for s := range rx.sets {
		ma.li.shut[s] = rx.sets[s].kit && ma.choice(s) == shut
	}
	fastest := int64(never)
	for i := range rx.m.rolls {
		fastest = min(fastest, rx.m.rolls[i].fastest)
	}
	for i := range rx.sess {
		ma.li.length[i] = rx.sess[i].length
		if ma.goal.finish > 0 {
			se := &rx.m.sess[rx.sess[i].index]
			ma.li.dry = ma.goal.finish
			ma.li.length[i] = ma.goal.finish - fastest - se.start + rx.m.tanks[se.tank].clean
		}
	}
	if ma.goal.finish > 0 {
		ma.li.rows = slices.Clone(rx.rows)
		for r := range ma.li.rows {
			ma.li.rows[r].cap = ma.li.rows[r].within(ma.goal.finish, ma.goal.finish-fastest)
		}
		ma.li.strict = true
		ma.hangLast()
	}
}

func (ma *master) allows(c *content) bool {
	if c.length > ma.li.length[c.sess] || (ma.li.strict || !c.loose) && c.early > ma.li.part(ma.rx, c.sess) {
		return false
	}
	for _, it := range c.items {
		ty := &ma.rx.types[it.typ]
		if ty.dry[ma.rx.sess[c.sess].index] > ma.li.dry || ma.li.barred.has(it.typ, c.sess) {
			return false
		}
		if !it.early && ma.li.onlySoon(ma.rx, it.typ, c.sess) {
			return false
		}
		if se := &ma.rx.sets[it.set]; se.kit && ma.choice(it.set) == shut {
			return false
		}
		if ma.li.absent(c.sess, it.set) {
			return false
		}
	}
	return true
}

// on is 1 for the level that the goal minimises, 0 for others.
func (ma *master) on(level int) int64 {
	if ma.goal.level == level {
		return 1
	}
	return 0
}

// cost is what a unit of a level costs in the linear program.
func (ma *master) cost(level int) float64 { return float64(ma.on(level)) / ma.per }
