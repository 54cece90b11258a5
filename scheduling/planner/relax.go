package planner

import (
	"fmt"
	"slices"
)

// A relaxation is the problem with less of the clock: each session is a
// stretch of time that takes any runs whose times add up, in classes whose
// rolls pack into them exactly, and sessions compete for rolls, bath area and,
// where they overlap, for reels, hanging positions, operators and baths. It is
// a linear program over all contents of all sessions, solved by column
// generation (Dantzig and Wolfe 1960; Gilmore and Gomory 1961), and its bound
// is checked in whole numbers (Lagrange; Farley 1990).
type relaxation struct {
	spent int64 // elementary steps so far, about as many as nanoseconds
	m     *model
	bd    *bounds

	types  []rollType
	typeOf []int // by roll
	leads  []lead
	sess   []sessionR
	sets   []setR
	rows   []resource
	byRow  [][]int // by session: rows that it has a part in
	waste  int     // sets with a price on what they waste
	rolls  int64
	boxes  map[string]*box
	unit   int64     // of time, s
	grain  int64     // all times of some best plan are multiples of it, s
	early  []int64   // by session: how long its early part is, 0 for none
	jumps  [][]int64 // by number here and type: what late grows by in a run that ends after it
	// longest is the longest session of each tank.
	longest  []int64
	pool     []content
	keys     map[string]int
	outlines map[string]int
	sums     []int64 // values of level 3 that there can be, once known
	fills    []bool  // by type, once known: see fillers
	choices  []kitChoice
	clusters [][]int            // sessions that overlap
	refused  map[string]bool    // choices of kits that no plan goes with
	barred   map[string]*bars   // by choice of kits and values reached
	solved   map[string]*master // by choice of kits and values above
	lasts    map[string]*lastDays
	pr       *pricing
	learnt   [len(LevelNames)]map[countKey]*lesson // of splits
}

// A rollType is rolls that are alike for the relaxation.
type rollType struct {
	class, kind int
	area, n     int64
	held        bool
	rolls       []int
	late        []int64 // by session: level 2 at least; never: not there
	dry         []int64 // by session: soonest
	jump        []int64 // by session: what late grows by in a run that ends after its early part
	least       int64   // weight
	breaks      []int64 // by session: the end of a run, after the session's start, from which on all are later
	out         int64   // level 2 when left out
	moved       []int64 // level 6 by session
	movedOut    int64
	hang        int64   // positions at least
	takes       []int64 // positions by cabinet, 0: does not hang there
}

// A lead is a class as the one whose times a batch runs by, with the types that
// may be in such a batch.
type lead struct {
	class, process int
	types          []int
}

type setR struct {
	kit    bool
	price  int64
	area   int64 // never: no limit
	waste  int64 // price of what is unused, per m²
	unused int64 // area that is unused if nothing is done
}

// A sessionR is one session.
type sessionR struct {
	index  int
	length int64 // s, less what frozen batches take
	end    int64 // from which the length counts backwards
	offers []offer
}

// An offer is one lead in one session.
type offer struct {
	lead   int
	sets   []int // that may be used
	kinds  []int
	perRun int64 // wet and clean-up
	warm   int64
	loads  []int64 // by kind in kinds, per reel
	box    *box
}

// A resource is what contents of several sessions use of one thing. What a
// content uses of it is linear in its runs, reels and rolls, and in how long
// its runs take to prepare.
type resource struct {
	cap      int64
	sessions []int
	early    bool // early runs alone use it
	// sets are the ones whose runs use it; nil stands for all.
	sets []int
	// kit is the set that must be mixed for there to be any of it; −1: none.
	kit     int
	perRun  func(o *offer) int64
	perReel func(o *offer, kind int) int64
	perRoll []int64 // by type
	// spared are the sessions whose early runs use none; nil for none.
	spared  []bool
	perPrep int64 // of a second of loading or warming up, whichever is longer
	// within is what there is of it when all film is to be dry at an instant, and
	// all runs to end at another.
	within func(finish, last int64) int64
	// most is what all contents together could use of it; 0: not known.
	most int64
}

// unit is what the row of a resource counts in, for the sake of numbers of like
// size.
func (r *resource) unit() float64 {
	unit := 1.0
	for max(r.cap, -r.cap) > int64(64*unit) {
		unit *= 2
	}
	return unit
}

// spares says that rolls of a session, in early runs or not, use none of a resource.
func (r *resource) spares(i int, early bool) bool { return early && r.spared != nil && r.spared[i] }

// usedBy says that runs of a set use a resource.
func (r *resource) usedBy(set int) bool { return r.sets == nil || slices.Contains(r.sets, set) }

// mostTypes is up to how many types of roll and contents of a run the
// relaxation is worth its time.
const (
	mostTypes = 1_500
	mostBox   = 300_000
)

// relax makes the relaxation; nil where the problem has too many sorts of
// rolls or reels for it.
func (bd *bounds) relax() *relaxation {
	rx := &relaxation{m: bd.m, bd: bd, boxes: make(map[string]*box), keys: make(map[string]int), outlines: make(map[string]int), refused: make(map[string]bool), barred: make(map[string]*bars), solved: make(map[string]*master), lasts: make(map[string]*lastDays)}
	rx.splitSessions()
	rx.sortRolls()
	if len(rx.types) == 0 || len(rx.types) > mostTypes {
		return nil
	}
	rx.sortLeads()
	rx.takeSets()
	if !rx.takeSessions() {
		return nil
	}
	rx.addResources()
	rx.chooseUnit()
	rx.grain = rx.m.grain()
	rx.pr = newPricing(rx)
	return rx
}

func (rx *relaxation) sortRolls() {
	m := rx.m
	rx.typeOf = make([]int, len(m.rolls))
	seen := make(map[string]int)
	for i := range m.rolls {
		r, a := &m.rolls[i], rx.bd.of(i)
		if !a.possible {
			continue
		}
		t := rollType{
			class: r.class, kind: r.kind, area: r.area, held: r.held != noHold, out: r.out,
			late: make([]int64, len(m.sess)), moved: make([]int64, len(m.sess)), hang: never,
			jump: make([]int64, len(m.sess)), takes: r.takes,
		}
		for s, dry := range a.at {
			t.late[s] = never
			if dry < never {
				t.late[s] = r.late(dry)
				if b := r.breakpoint(dry) - m.sess[s].start; b <= rx.early[s] {
					t.jump[s] = r.weight
				}
			}
			if r.tracked && r.prev != s {
				t.moved[s] = 1
			}
		}
		if r.tracked && r.prev != noPlace {
			t.movedOut = 1
		}
		for c, n := range r.takes {
			if n > 0 && n <= m.cabs[c].positions {
				t.hang = min(t.hang, n)
			}
		}
		key := fmt.Sprint(t)
		k, ok := seen[key]
		if !ok {
			k = len(rx.types)
			seen[key] = k
			t.dry, t.breaks, t.least = slices.Clone(a.at), make([]int64, len(m.sess)), r.weight
			rx.types = append(rx.types, t)
		}
		ty := &rx.types[k]
		ty.least = min(ty.least, r.weight)
		for s, dry := range a.at {
			ty.dry[s] = min(ty.dry[s], dry)
			ty.breaks[s] = max(ty.breaks[s], r.breakpoint(dry)-m.sess[s].start)
		}
		ty.n++
		ty.rolls = append(ty.rolls, i)
		rx.typeOf[i] = k
		rx.rolls++
	}
}

func (rx *relaxation) sortLeads() {
	m := rx.m
	for c := range m.class {
		l := lead{class: c, process: m.class[c].process}
		for t := range rx.types {
			if other := rx.types[t].class; other == c || m.share(c, other) && m.leads(c, other) {
				l.types = append(l.types, t)
			}
		}
		if len(l.types) > 0 {
			rx.leads = append(rx.leads, l)
		}
	}
	slices.SortStableFunc(rx.leads, func(a, b lead) int { return a.process - b.process })
}

func (rx *relaxation) takeSets() {
	m := rx.m
	for s := range m.sets {
		se := setR{kit: m.sets[s].mix && m.base.mixedAt[s] == never, price: m.sets[s].price, area: never}
		least := int64(never)
		for _, b := range m.sets[s].baths {
			ba := &m.baths[b]
			se.area = min(se.area, ba.area-m.base.area[b])
			if ba.oneShot && ba.run > 0 {
				se.area = min(se.area, (ba.volume-m.base.drawn[b])*ba.run/1000)
			}
			if ba.limitedArea {
				least = min(least, ba.area-m.base.area[b])
			}
		}
		se.area = max(se.area, 0)
		if slices.Contains(m.waste, s) && least < never && !rx.sharesBath(s) {
			se.waste, se.unused = m.sets[s].waste, max(least, 0)
			rx.waste++
		}
		rx.sets = append(rx.sets, se)
	}
}

// sharesBath says that another set has a bath of this one.
func (rx *relaxation) sharesBath(set int) bool {
	for o := range rx.m.sets {
		if o != set && slices.ContainsFunc(rx.m.sets[o].baths, func(b int) bool { return slices.Contains(rx.m.sets[set].baths, b) }) {
			return true
		}
	}
	return false
}

func (rx *relaxation) takeSessions() bool {
	m := rx.m
	rx.longest = make([]int64, len(m.tanks))
	for s := range m.sess {
		t := m.sess[s].tank
		rx.longest[t] = max(rx.longest[t], m.sess[s].end-m.sess[s].start)
	}
	for s := range m.sess {
		se := &m.sess[s]
		sr := sessionR{index: s, length: se.end - se.start, end: se.end}
		for _, st := range m.base.stays[se.tank] {
			sr.length -= max(min(st.to, se.end)-max(st.from, se.start), 0)
		}
		if sr.length <= 0 {
			continue
		}
		for l := range rx.leads {
			o, ok := rx.offer(l, s)
			if !ok {
				continue
			}
			if o.box = rx.boxOf(&o, s); o.box == nil {
				return false
			}
			sr.offers = append(sr.offers, o)
		}
		if len(sr.offers) > 0 {
			rx.sess = append(rx.sess, sr)
		}
	}
	rx.jumps = make([][]int64, len(rx.sess))
	for i := range rx.sess {
		for t := range rx.types {
			rx.jumps[i] = append(rx.jumps[i], rx.types[t].jump[rx.sess[i].index])
		}
	}
	return true
}

// offer is what a session has for a lead, if anything.
func (rx *relaxation) offer(l, s int) (offer, bool) {
	m := rx.m
	se, ld := &m.sess[s], &rx.leads[l]
	tank, cl := &m.tanks[se.tank], &m.class[ld.class]
	o := offer{lead: l, perRun: cl.wet + tank.clean, warm: tank.warm[cl.process]}
	if !se.process[cl.process] {
		return o, false
	}
	for k := range m.kinds {
		if slices.ContainsFunc(ld.types, func(t int) bool { return rx.types[t].kind == k && rx.types[t].late[s] < never }) {
			o.kinds = append(o.kinds, k)
			o.loads = append(o.loads, m.kinds[k].load)
		}
	}
	for _, set := range m.setsOf[cl.process] {
		if m.sets[set].carries[ld.class] && rx.alive(set, ld.class, s) {
			o.sets = append(o.sets, set)
		}
	}
	return o, len(o.kinds) > 0 && len(o.sets) > 0
}

// alive says that a run of the class that begins with the session could still
// use the set.
func (rx *relaxation) alive(set, class, s int) bool {
	m := rx.m
	if rx.sets[set].kit {
		return m.sets[set].by >= 0
	}
	cl := &m.class[class]
	return m.sess[s].start+m.tanks[m.sess[s].tank].warm[cl.process]+cl.wet <= rx.lastEnd(set, class)
}

// mostUnits bounds the steps in which the time of a session is counted.
const mostUnits = 480

// chooseUnit finds the unit of time: as coarse as loses nothing, or coarser
// where that would take too many.
func (rx *relaxation) chooseUnit() {
	var longest int64
	for i := range rx.sess {
		se := &rx.sess[i]
		longest = max(longest, se.length)
		rx.unit = gcd(rx.unit, gcd(se.length, rx.flush(i)))
		for k := range se.offers {
			o := &se.offers[k]
			rx.unit = gcd(rx.unit, gcd(o.perRun, o.warm))
			for _, l := range o.loads {
				rx.unit = gcd(rx.unit, l)
			}
		}
	}
	rx.unit = max(rx.unit, (longest+mostUnits-1)/mostUnits, 1)
}

// flush is the time between runs of unlike processes in a session's tank.
func (rx *relaxation) flush(i int) int64 { return rx.m.tanks[rx.m.sess[rx.sess[i].index].tank].flush }

// grain is the greatest span of which all times of the problem are multiples. In
// a plan whose batches are each as early as the others let them, so are all its
// times.
func (m *model) grain() int64 {
	g := m.end
	with := func(times ...int64) {
		for _, t := range times {
			if t < never && t > -never {
				g = gcd(g, max(t, -t))
			}
		}
	}
	for i := range m.tanks {
		with(m.tanks[i].clean, m.tanks[i].flush)
		with(m.tanks[i].warm...)
	}
	for i := range m.kinds {
		with(m.kinds[i].load, m.kinds[i].dry)
	}
	for i := range m.cabs {
		with(m.cabs[i].dry)
	}
	for i := range m.sess {
		with(m.sess[i].start, m.sess[i].end)
	}
	for i := range m.class {
		with(m.class[i].wet)
		for _, st := range m.class[i].steps {
			with(st.begins)
		}
		for _, h := range m.class[i].hands {
			with(h.from, h.to)
		}
	}
	for i := range m.baths {
		with(m.baths[i].expires, m.baths[i].life)
	}
	for i := range m.sets {
		with(m.sets[i].takes, m.sets[i].by)
	}
	for i := range m.rolls {
		with(m.rolls[i].in)
	}
	for _, f := range m.p.Frozen {
		with(floorSec(m.t0, f.Start), floorSec(m.t0, f.Wet), ceilSec(m.t0, f.End), ceilSec(m.t0, f.Clear))
	}
	return max(g, 1)
}
