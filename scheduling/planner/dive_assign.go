package planner

import (
	"cmp"
	"math"
	"slices"
	"sort"
)

// Once all sessions are settled for outlines, which rolls are on which reels is a
// transport problem, of rolls to places in runs, with a few rows besides: what sets can
// take or are to take, what hangs at once. Its linear program is whole but for a few
// rolls, and those are placed by trying, or else split by.

// An assignment is that problem.
type assignment struct {
	dv     *dive
	left   []int64 // by type: rolls
	places []place
	rows   []sideRow
	sx     *simplex
	col    []int // by seat: its column
	seats  []seat
	take   []int64 // by seat: rolls
	late   int64   // at most
	nodes  int
	dear   float64 // what a row is short of costs
}

// A place is the reels of one kind of some runs.
type place struct {
	sess, load int
	kind       int
	room       int64
	early      bool
	set        int
}

// A seat is rolls of a type in a place; place −1: left out.
type seat struct {
	typ, place int
	late       int64
}

// A sideRow is a row over seats, that is to be no less than it says.
type sideRow struct {
	least int64
	per   func(t int, p *place) int64
}

// mostSeatings bounds the tries of placing what the linear program has in parts.
const mostSeatings = 3_000

// assign draws contents of whole rolls for all sessions that are settled for outlines;
// false where it finds none.
func (dv *dive) assign() bool {
	as := assignment{dv: dv, nodes: mostSeatings}
	as.list()
	as.addRows()
	if !as.solve() {
		return false
	}
	as.draw()
	return true
}

// list lists places and seats.
func (as *assignment) list() {
	dv := as.dv
	ma, rx := dv.ma, dv.ma.rx
	for t := range rx.types {
		as.left = append(as.left, rx.types[t].n)
	}
	for i := range rx.sess {
		if dv.outline[i] < 0 {
			continue
		}
		of := &rx.pool[dv.like[i]]
		for n := range of.loads {
			l := &of.loads[n]
			o := &rx.sess[i].offers[l.offer]
			for d, reels := range l.reels {
				if reels > 0 {
					as.places = append(as.places, place{sess: i, load: n, kind: o.kinds[d], room: int64(reels) * o.box.holds[d], early: l.early, set: l.set})
				}
			}
		}
	}
	for t := range rx.types {
		ty := &rx.types[t]
		if as.left[t] == 0 {
			continue
		}
		if ma.left[t] >= 0 {
			as.seats = append(as.seats, seat{t, -1, ty.out})
		}
		for p := range as.places {
			pl := &as.places[p]
			s := rx.sess[pl.sess].index
			of := &rx.pool[dv.like[pl.sess]]
			lead := rx.sess[pl.sess].offers[of.loads[pl.load].offer].lead
			if pl.kind != ty.kind || ty.late[s] >= never || ty.dry[s] > ma.li.dry || ma.li.barred.has(t, pl.sess) || !slices.Contains(rx.leads[lead].types, t) {
				continue
			}
			late := ty.late[s]
			if !pl.early {
				if ma.li.onlySoon(rx, t, pl.sess) {
					continue
				}
				late += ma.li.jumps[pl.sess][t]
			}
			as.seats = append(as.seats, seat{t, p, late})
		}
	}
}

// addRows adds what sets can take, what they are to take, and rows of rolls.
func (as *assignment) addRows() {
	rx := as.dv.ma.rx
	for s := range rx.sets {
		if most := rx.sets[s].area; most < never {
			as.rows = append(as.rows, sideRow{-most, as.areaOf(s, -1)})
		}
	}
	as.addFills()
	for r := range as.dv.ma.li.rows {
		as.addResource(r)
	}
}

// areaOf is the area that a roll takes of a set, with a sign.
func (as *assignment) areaOf(set int, sign int64) func(t int, p *place) int64 {
	return func(t int, p *place) int64 {
		if p.set != set {
			return 0
		}
		return sign * as.dv.ma.rx.types[t].area
	}
}

// addFills adds what sets are to take lest too much is wasted: of one that may waste
// something, as much as level 3 has room for, of several, what the linear program has.
func (as *assignment) addFills() {
	ma := as.dv.ma
	rx := ma.rx
	if ma.goal.upTo <= chemistry && ma.goal.level != chemistry {
		return
	}
	may := ma.goal.worth[chemistry] - ma.paid
	if ma.goal.level == chemistry {
		may = int64(as.dv.most) - ma.paid
	}
	wasters := rx.wasters()
	slices.Sort(wasters)
	for _, s := range wasters {
		se := &rx.sets[s]
		spare := int64(math.Ceil(ma.sx.value(ma.spare[s])*area1 + 1e-3))
		if len(wasters) == 1 { // the most area that costs no more
			spare = int64(sort.Search(int(se.unused), func(n int) bool { return wastedPrice(int64(n)+1, se.waste) > may }))
		}
		as.rows = append(as.rows, sideRow{se.unused - spare, as.areaOf(s, 1)})
	}
}

// addResource adds a row of the linear program that counts rolls, less what outlines use
// of it.
func (as *assignment) addResource(r int) {
	dv := as.dv
	ma, rx := dv.ma, dv.ma.rx
	row := &ma.li.rows[r]
	if row.perRoll == nil || ma.at[ma.rowR+r] < 0 {
		return
	}
	rest := row.cap
	for _, i := range row.sessions {
		if dv.outline[i] >= 0 {
			of := &rx.pool[dv.like[i]]
			for n := range of.loads {
				rest -= row.ofLoad(&rx.sess[i].offers[of.loads[n].offer], &of.loads[n])
			}
		}
	}
	as.rows = append(as.rows, sideRow{-rest, func(t int, p *place) int64 {
		if !slices.Contains(row.sessions, p.sess) || !row.usedBy(p.set) || row.spares(p.sess, p.early) {
			return 0
		}
		return -row.perRoll[t]
	}})
}

// solve finds how many rolls are in each seat; false where there is no way, or none is
// found.
func (as *assignment) solve() bool {
	as.late = as.mostLate()
	wanting := as.program()
	as.sx.solve(20 * len(as.sx.rhs))
	splits := mostHalvings
	return as.branch(wanting, &splits)
}

// mostHalvings bounds how often seats that rolls have in part are split by.
const mostHalvings = 40

// branch finds whole numbers of rolls by splitting what is not whole in the linear
// program (Land and Doig 1960), depth first, so often at most. wanting are the columns
// that make good what rows are short of.
func (as *assignment) branch(wanting []int, splits *int) bool {
	sx := as.sx
	if sx.objective() > float64(as.late)+0.5 || slices.ContainsFunc(wanting, func(col int) bool { return col >= 0 && sx.value(col) > 1e-3 }) {
		return false
	}
	as.nodes = mostSeatings
	if as.round() {
		return true
	}
	far, seat := 1e-3, -1
	for k, col := range as.col {
		x := sx.value(col)
		if d := math.Abs(x - math.Round(x)); d > far {
			far, seat = d, k
		}
	}
	if seat < 0 {
		return false
	}
	x := sx.value(as.col[seat])
	signs := [2]float64{1, -1} // no fewer, and no more
	if x-math.Floor(x) < 0.5 {
		signs = [2]float64{-1, 1}
	}
	for _, sign := range signs {
		if *splits--; *splits < 0 {
			return false
		}
		limit := math.Ceil(x)
		if sign < 0 {
			limit = -math.Floor(x)
		}
		as.sx = sx.withRow(limit, as.dear, func(col int) float64 {
			if col == as.col[seat] {
				return sign
			}
			return 0
		})
		as.sx.solve(5 * len(as.sx.rhs))
		if as.branch(append(slices.Clip(wanting), len(as.sx.cols)-1), splits) {
			return true
		}
	}
	return false
}

// program makes the linear program: of level 2, after a master's first dive a little off,
// so that others come of it. It gives by row the column that makes good what it is short
// of, −1 for none.
func (as *assignment) program() (wanting []int) {
	dv := as.dv
	ma, rx := dv.ma, dv.ma.rx
	types, sides := len(rx.types), len(rx.types)+len(as.places)
	rhs := make([]float64, sides+len(as.rows))
	for t := range rx.types {
		rhs[t] = float64(as.left[t])
	}
	for p := range as.places {
		rhs[types+p] = -float64(as.places[p].room)
	}
	units := make([]float64, len(as.rows)) // for numbers of like size
	for r := range as.rows {
		units[r] = as.unit(r)
		rhs[sides+r] = float64(as.rows[r].least) / units[r]
	}
	sx := newSimplex(rhs)
	sx.spent = &rx.spent
	for t := range rx.types {
		sx.equal[t] = true
	}
	as.dear = 10.0
	for t := range rx.types {
		as.dear = max(as.dear, 40*float64(rx.types[t].out))
	}
	for r := range rhs {
		col := -1
		if rhs[r] >= 0 {
			col = sx.add(lpColumn{cost: as.dear, row: []int32{int32(r)}, val: []float64{1}}) // #nosec G115 -- a number of rows
		}
		wanting = append(wanting, col)
	}
	for _, se := range as.seats {
		c := lpColumn{cost: float64(se.late)}
		c.put(se.typ, 1)
		if se.place >= 0 {
			if ma.dives > 0 {
				c.cost += 1e-3 * dv.rng.Float64()
			}
			c.put(types+se.place, -1)
			for r := range as.rows {
				c.put(sides+r, float64(as.rows[r].per(se.typ, &as.places[se.place]))/units[r])
			}
		}
		as.col = append(as.col, sx.add(c))
	}
	sx.start(wanting)
	as.sx = sx
	return wanting
}

// unit is the most that one roll counts for in a row.
func (as *assignment) unit(r int) float64 {
	unit := int64(1)
	for _, se := range as.seats {
		if se.place >= 0 {
			v := as.rows[r].per(se.typ, &as.places[se.place])
			unit = max(unit, v, -v)
		}
	}
	return float64(unit)
}

// mostLate is how much level 2 may be.
func (as *assignment) mostLate() int64 {
	ma := as.dv.ma
	switch {
	case ma.goal.level == lateness:
		return int64(as.dv.most)
	case ma.goal.upTo <= lateness:
		return never
	}
	return ma.cap(lateness)
}

// round takes what is whole in the linear program, and places the other rolls by trying.
func (as *assignment) round() bool {
	rx := as.dv.ma.rx
	left := slices.Clone(as.left)
	room := make([]int64, len(as.places))
	for p := range as.places {
		room[p] = as.places[p].room
	}
	short := make([]int64, len(as.rows))
	for r := range as.rows {
		short[r] = as.rows[r].least
	}
	late := as.late
	as.take = make([]int64, len(as.seats))
	put := func(k int, n int64) {
		se := &as.seats[k]
		as.take[k] += n
		left[se.typ] -= n
		late -= n * se.late
		if se.place >= 0 {
			room[se.place] -= n
			for r := range as.rows {
				short[r] -= n * as.rows[r].per(se.typ, &as.places[se.place])
			}
		}
	}
	for k := range as.seats {
		n := int64(math.Floor(as.sx.value(as.col[k]) + 1e-4))
		if n = min(n, left[as.seats[k].typ]); n > 0 {
			put(k, n)
		}
	}
	of := make([][]int, len(rx.types)) // seats by type, least late first
	for k := range as.seats {
		of[as.seats[k].typ] = append(of[as.seats[k].typ], k)
	}
	for t := range of {
		slices.SortStableFunc(of[t], func(a, b int) int { return cmp.Compare(as.seats[a].late, as.seats[b].late) })
	}
	var grow func(t int, from int) bool
	grow = func(t, from int) bool {
		for t < len(left) && left[t] <= 0 {
			t, from = t+1, 0
		}
		if late < 0 {
			return false
		}
		if t == len(left) {
			return !slices.ContainsFunc(short, func(n int64) bool { return n > 0 })
		}
		for n := from; n < len(of[t]); n++ {
			k := of[t][n]
			se := &as.seats[k]
			if se.late > late || se.place >= 0 && room[se.place] == 0 {
				continue
			}
			if as.nodes--; as.nodes < 0 {
				return false
			}
			put(k, 1)
			if grow(t, n) {
				return true
			}
			put(k, -1)
		}
		return false
	}
	return grow(0, 0)
}

// draw makes contents of what was found.
func (as *assignment) draw() {
	dv := as.dv
	ma, rx := dv.ma, dv.ma.rx
	made := make(map[int]*content)
	for i := range rx.sess {
		if dv.outline[i] >= 0 {
			of := rx.pool[dv.like[i]]
			of.items = nil
			made[i] = &of
		}
	}
	for k, n := range as.take {
		if se := &as.seats[k]; n > 0 && se.place >= 0 {
			pl := &as.places[se.place]
			made[pl.sess].items = append(made[pl.sess].items, item{se.typ, pl.set, n, pl.early})
		}
	}
	for i := range rx.sess {
		c, ok := made[i]
		if !ok {
			continue
		}
		ma.know(*c)
		dv.drawn[i] = rx.keys[c.key()]
	}
}
