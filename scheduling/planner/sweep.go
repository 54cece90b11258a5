package planner

import (
	"cmp"
	"slices"
)

// A sweep fills sessions in the order in which they begin, each with the content
// that is worth most there: a roll is worth what it would be later if it waited
// some days. Runs are placed at once, and the rolls of those that find no room
// wait. That is one plan; what it could not do is taken care of in the next
// (squeaky wheels: Joslin and Clements 1999).
type sweep struct {
	sr      *search
	rx      *relaxation
	style   sweepStyle
	order   []int     // sessions, by when they begin
	cluster []int     // by session: which overlap, numbered
	trouble []int64   // by session: held rolls that found no room so far
	stand   []spec    // runs that all held rolls have room in
	fixed   []bool    // by session of the model: its held rolls run so
	over    []int64   // by type: what is added to its worth, for it came out later than it had to
	wait    [][]int64 // by type and session: level 2 when it waits
	prices  prices
	limits  limits
	given   []bool // by roll: it is placed
}

// A sweepStyle is what one sweep does otherwise than another.
type sweepStyle struct {
	ahead   int64 // how long a roll that waits does, s
	kitWait int64 // how long a run may wait before a kit is mixed for it, s
	fix     bool  // held rolls run as in the plan of them alone where they find no room otherwise
	fixAll  bool  // they do everywhere
}

// sweepStyles are tried one after another, each sweepsEach times.
var sweepStyles = []sweepStyle{
	{4 * day, 1800, false, false}, {2 * day, 1800, true, false}, {2 * day, 0, false, false}, {4 * day, 0, true, false},
	{day, 1800, false, false}, {4 * day, 0, false, true},
}

const (
	sweepsEach = 5
	sweepRolls = 30      // from how many rolls sweeps are worth their time
	sweepFills = 3       // how often a session is filled up
	sweepUnit  = 1 << 10 // what one unit of level 2 is worth
	sweepHeld  = 1 << 20 // what a held roll is worth beyond it
)

// sweeps makes plans by sweeps and keeps the best.
func (sr *search) sweeps(pf *proofs) {
	if sr.within || len(sr.m.rolls) < sweepRolls || sr.expired() || pf.bd.given != nil {
		return
	}
	if sr.bestWorth[lateness] <= pf.bound(&sr.bestWorth, lateness) || !pf.relaxed() {
		return
	}
	// Sweeps are bounded by their number; what the relaxation may work is for proofs.
	spent := pf.rx.spent
	defer func() { pf.rx.spent = spent }()
	var stand []spec
	for _, b := range sr.heldAlone().best {
		stand = append(stand, spec{sess: b.sess, set: b.set, rolls: b.rolls})
	}
	for _, style := range sweepStyles {
		sw := sr.newSweep(pf.rx, style)
		sw.stand = stand
		for range sweepsEach {
			if sr.expired() {
				break
			}
			sw.run()
			if w := sr.s.value(); w.less(&sr.bestWorth) {
				sr.keep(w)
				sr.tighten()
			}
			sw.learn()
		}
	}
	sr.sweepAgain(pf.rx, stand)
	pf.rx.pr.refill()
	sr.startFrom(sr.best)
	sr.worth = sr.bestWorth
}

func (sr *search) newSweep(rx *relaxation, style sweepStyle) *sweep {
	m := sr.m
	sw := &sweep{
		sr: sr, rx: rx, style: style, cluster: make([]int, len(rx.sess)), trouble: make([]int64, len(rx.sess)),
		fixed: make([]bool, len(m.sess)), over: make([]int64, len(rx.types)), given: make([]bool, len(m.rolls)),
		prices: prices{
			late: sweepUnit, run: sweepUnit / 16, roll: make([]int64, len(rx.types)), area: make([]int64, len(rx.sets)),
		},
		limits: limits{length: make([]int64, len(rx.sess)), dry: never, shut: make([]bool, len(rx.sets)), byRow: make([][]int, len(rx.sess)), early: rx.usualEarly(), jumps: rx.jumps},
	}
	for n, sessions := range rx.overlapping() {
		for _, i := range sessions {
			sw.cluster[i] = n
			sw.order = append(sw.order, i)
		}
	}
	for i := range sw.fixed {
		sw.fixed[i] = style.fixAll
	}
	sw.look()
	return sw
}

// look works out what rolls cost at level 2 when they wait.
func (sw *sweep) look() {
	rx, m := sw.rx, sw.sr.m
	start := func(i int) int64 { return m.sess[rx.sess[i].index].start }
	byStart := slices.Clone(sw.order)
	slices.SortStableFunc(byStart, func(a, b int) int { return cmp.Compare(start(a), start(b)) })
	after := make([]int, len(rx.sess)) // by session: how many begin before a roll that waits could
	for i := range after {
		after[i], _ = slices.BinarySearchFunc(byStart, start(i)+sw.style.ahead, func(o int, at int64) int { return cmp.Compare(start(o), at) })
	}
	least := make([]int64, len(byStart)+1) // in the sessions from one on
	for t := range rx.types {
		ty := &rx.types[t]
		least[len(byStart)] = ty.out
		for k := len(byStart) - 1; k >= 0; k-- {
			least[k] = min(least[k+1], ty.late[rx.sess[byStart[k]].index])
		}
		wait := make([]int64, len(rx.sess))
		for i := range wait {
			wait[i] = least[after[i]]
		}
		sw.wait = append(sw.wait, wait)
	}
}

// run makes a plan and leaves it in the state. Of sessions that overlap, the
// runs with held rolls come first: those can be nowhere else.
func (sw *sweep) run() {
	sr := sw.sr
	clear(sr.s.mixFrom)
	sr.s.reset()
	sr.s.hangBy = hangFast
	clear(sw.given)
	sw.rx.pr.refill()
	for k := range sw.stand {
		if sp := &sw.stand[k]; sw.fixed[sp.sess] && sr.settle(sp) {
			sw.take(sp.rolls)
		}
	}
	sw.through(sw.order)
}

// through fills sessions in order, and then inserts what is left.
func (sw *sweep) through(order []int) {
	sr := sw.sr
	for at := 0; at < len(order) && !sr.expired(); {
		end := at
		for end < len(order) && sw.cluster[order[end]] == sw.cluster[order[at]] {
			end++
		}
		for _, i := range order[at:end] {
			if sr.expired() {
				break
			}
			if sw.fixed[sw.rx.sess[i].index] {
				sw.topUp(i)
			} else {
				sw.fill(i, true)
			}
		}
		for _, i := range order[at:end] {
			if sr.expired() {
				break
			}
			sw.fill(i, false)
		}
		at = end
	}
	sw.rx.pr.refill()
	sr.insertRest()
}

// take notes rolls as placed.
func (sw *sweep) take(rolls []int) {
	for _, r := range rolls {
		sw.given[r] = true
		sw.rx.pr.left[sw.rx.typeOf[r]]--
	}
}

// fill places runs of what is worth most in a session, all or those with held
// rolls alone, until none finds room or all do.
func (sw *sweep) fill(i int, held bool) {
	rx, m := sw.rx, sw.sr.m
	for range sweepFills {
		if some := sw.price(i); held && !some || rx.pr.session(&sw.prices, &sw.limits, i) <= 0 {
			return
		}
		c := rx.pr.content(&sw.prices, &sw.limits, i)
		specs, _ := rx.runs(&c, &sw.limits, sw.given, func(a, b int) int {
			return cmp.Or(cmp.Compare(min(m.rolls[b].held, 0), min(m.rolls[a].held, 0)), m.urgent(a, b))
		})
		placed, failed := false, false
		for k := range specs {
			rolls := specs[k].rolls
			for _, r := range rolls {
				sw.given[r] = false
			}
			if held && !slices.ContainsFunc(rolls, func(r int) bool { return m.rolls[r].held != noHold }) {
				continue
			}
			if sw.settle(&specs[k]) {
				sw.take(rolls)
				placed = true
			} else {
				failed = true
			}
		}
		for _, it := range c.items { // what the runs had no room for
			for _, r := range rx.types[it.typ].rolls {
				sw.given[r] = sw.sr.s.of[r] != nil
			}
		}
		if !placed || !failed {
			return
		}
	}
}

// price says what rolls are worth in a session, what time it has left and which
// sets are used up; and whether held rolls wait for it.
func (sw *sweep) price(i int) (held bool) {
	rx, s, m := sw.rx, sw.sr.s, sw.sr.m
	se := &rx.sess[i]
	sw.limits.length[i] = se.length
	for _, b := range s.batches {
		if b.sess == se.index {
			sw.limits.length[i] -= b.clear - b.start
		}
	}
	least := int64(never) // area of a roll
	for t := range rx.types {
		ty := &rx.types[t]
		sw.prices.roll[t] = 0
		late := ty.late[se.index]
		if late >= never || rx.pr.left[t] == 0 {
			continue
		}
		least = min(least, ty.area)
		sw.prices.roll[t] = sweepUnit*max(sw.wait[t][i], late) + sweepUnit/4 + sw.over[t]
		if ty.held {
			held = true
			sw.prices.roll[t] += sweepHeld
		}
	}
	for set := range m.sets {
		sw.limits.shut[set] = slices.ContainsFunc(m.sets[set].baths, func(b int) bool { return m.baths[b].area-s.area[b] < least })
	}
	return held
}

// topUp lets rolls join the runs of a session, those that are worth most first.
func (sw *sweep) topUp(i int) {
	sr, rx, s, m := sw.sr, sw.rx, sw.sr.s, sw.sr.m
	se := rx.sess[i].index
	sw.price(i)
	var rolls []int
	for t := range rx.types {
		for _, r := range rx.types[t].rolls {
			if sw.prices.roll[t] > 0 && !sw.given[r] {
				rolls = append(rolls, r)
			}
		}
	}
	worth := func(r int) int64 {
		t := rx.typeOf[r]
		return sw.prices.roll[t] - sweepUnit*rx.types[t].late[se]
	}
	slices.SortStableFunc(rolls, func(a, b int) int { return cmp.Compare(worth(b), worth(a)) })
	sr.bd.soft, sr.bd.first = nil, 0
	before := s.value0()
	for _, b := range s.batches {
		if b.sess != se {
			continue
		}
		for _, r := range rolls {
			if sw.given[r] || !m.share(m.rolls[r].class, b.class) {
				continue
			}
			// No use where others end so much later that it had better waited.
			if g, ok := sr.bd.tryJoin(b, r, before); ok && g[0] <= sw.wait[rx.typeOf[r]][i] {
				sr.bd.join(b, r)
				sw.take([]int{r})
			}
		}
	}
}

// settle places a run with the set by which it ends first; that a kit is mixed
// for it counts as some time.
func (sw *sweep) settle(sp *spec) bool {
	s, m := sw.sr.s, sw.sr.m
	b := s.fresh(sp.sess, sp.set)
	b.rolls = append(b.rolls, sp.rolls...)
	for range sp.rolls {
		b.cabs = append(b.cabs, 0)
	}
	best, soonest := -1, int64(never)
	for _, set := range m.setsOf[m.class[m.rolls[sp.rolls[0]].class].process] {
		if b.set = set; !s.room(b) {
			continue
		}
		end := b.end
		if b.mixes {
			end += sw.style.kitWait
		}
		if end < soonest || end == soonest && set == sp.set {
			best, soonest = set, end
		}
	}
	if b.set = best; best >= 0 && s.place(b) {
		return true
	}
	s.release(b)
	return false
}

// learn makes rolls worth more that came out later than they had to, and has
// sessions come sooner, or run their held rolls as they stand, where held rolls
// found no room.
func (sw *sweep) learn() {
	rx, s, m := sw.rx, sw.sr.s, sw.sr.m
	at := make([]int, len(m.sess))
	for i := range rx.sess {
		at[rx.sess[i].index] = i
	}
	again := make(map[int]bool) // clusters in which held rolls are to run as they stand
	for t := range rx.types {
		ty := &rx.types[t]
		least := min(ty.out, slices.Min(ty.late))
		var over int64
		for _, r := range ty.rolls {
			if b := s.of[r]; b != nil {
				over += max(m.rolls[r].late(s.dry(b))-least, 0)
				continue
			}
			over += ty.out - least
			if h := m.rolls[r].held; h != noHold {
				sw.trouble[at[h]]++
				again[sw.cluster[at[h]]] = sw.style.fix
			}
		}
		if over > 0 {
			sw.over[t] += min(sweepUnit*over/ty.n/4+1, 4*sweepUnit)
		} else {
			sw.over[t] -= sw.over[t] / 8
		}
	}
	for i := range rx.sess {
		if again[sw.cluster[i]] {
			sw.fixed[rx.sess[i].index] = true
		}
	}
	slices.SortStableFunc(sw.order, func(a, b int) int {
		return cmp.Or(cmp.Compare(sw.cluster[a], sw.cluster[b]), cmp.Compare(sw.trouble[b], sw.trouble[a]))
	})
}
