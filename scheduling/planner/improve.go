package planner

import (
	"cmp"
	"math/rand/v2"
	"slices"
)

// A spec is a batch without its times: what replaying needs.
type spec struct {
	sess, set int
	rolls     []int
	start     int64 // as it was last placed
	last      int64 // its latest end, where that is known
}

// A search improves a plan by taking parts of it down and building them again.
// It accepts what is no worse than the plan some steps ago (late acceptance),
// which needs nothing but the order of worths.
type search struct {
	m   *model
	s   *state
	bd  *builder
	rng *rand.Rand

	now   []spec
	worth worth
	past  []worth // a ring of the scores accepted
	step  int64
	stale int64 // steps since the best or the last restart

	best      []*batch
	bestWorth worth
	seen      bool

	cutShort bool        // explanations were
	verify   bool        // changes that would place rolls are to be planned again
	expired  func() bool // the clock or context has ended the search
	report   func()      // of a better plan
	bounds   *bounds
	aim      int64 // when the plan sought is to finish, 0 for any time
	within   bool  // a window of another plan

	// the best plan when it was last looked at through windows, and for which level
	seenWorth worth
	seenLevel int

	// mixFrom delays mixing in the current plan, so that baths live for later
	// rolls; delays are such delays worth a try.
	mixFrom []int64
	delays  []delay
	mortal  bool // some kit's bath has a life

	cut   []bool // batches of now to take down
	to    []int  // sessions that batches of now are to be in instead; −1: where they are
	had   []bool // rolls in the plan before a step
	drop  []bool // rolls to take out
	pool  []int
	order []int64
}

// pastLen is how many steps back the accepted worth is compared with.
const pastLen = 20

func newSearch(m *model) *search {
	s := newState(m)
	s.reset()
	seed := uint64(m.p.Search.Seed)
	sr := &search{
		m: m, s: s, bd: newBuilder(s), rng: rand.New(rand.NewPCG(seed, 0x77657473696465)), // #nosec G404 -- the search is to be repeatable
		drop: make([]bool, len(m.rolls)), had: make([]bool, len(m.rolls)), order: make([]int64, len(m.rolls)), mixFrom: make([]int64, len(m.sets)),
	}
	for i := range m.sets {
		sr.mortal = sr.mortal || m.sets[i].mix && slices.ContainsFunc(m.sets[i].baths, func(b int) bool { return m.baths[b].life < never })
	}
	sr.bd.expired = func() bool { return sr.expired != nil && sr.expired() }
	sr.bd.shuffle = func() int64 { return sr.rng.Int64N(1 << 20) }
	return sr
}

// first builds a plan from nothing.
func (sr *search) first() {
	sr.now = sr.now[:0]
	sr.pool = sr.pool[:0]
	sr.cut = sr.cut[:0]
	sr.rebuild(0, false)
	sr.accept()
}

// rebuild replays what is kept of the plan and inserts the other rolls in the
// order of a mode.
func (sr *search) rebuild(mode int, loose bool) {
	s := sr.s
	s.reset()
	for i := range sr.now {
		if i < len(sr.cut) && sr.cut[i] {
			continue
		}
		sp := &sr.now[i]
		sess := sp.sess
		if i < len(sr.to) && sr.to[i] >= 0 {
			sess = sr.to[i]
		}
		b := s.fresh(sess, sp.set)
		for _, r := range sp.rolls {
			if !sr.drop[r] {
				b.rolls = append(b.rolls, r)
				b.cabs = append(b.cabs, 0)
			}
		}
		if len(b.rolls) == 0 || !s.place(b) {
			s.release(b)
		}
	}
	sr.fillPool(loose)
	sr.sortPool(mode)
	sr.bd.version++
	sr.bd.skip, sr.bd.tie, sr.bd.first, s.hangBy = nil, 0, 0, hangFast
	if loose && len(sr.m.cabs) > 1 && sr.rng.IntN(4) == 0 {
		s.hangBy = hangWait + sr.rng.IntN(2)
	}
	if loose {
		sr.bd.skip = func() bool { return sr.rng.IntN(32) == 0 }
		sr.bd.tie = sr.rng.IntN(3)
		if sr.rng.IntN(4) == 0 {
			sr.bd.first = 1 + sr.rng.IntN(2)
		}
	}
	misses := 0
	for i, r := range sr.pool {
		if (i%64 == 63 || len(sr.m.sess)*len(sr.m.sets) > manyWays) && sr.expired() {
			break
		}
		if sr.bd.insert(r) {
			misses = 0
			continue
		}
		if misses++; misses <= 2 && sr.mortal {
			sr.noteDelays(r)
		}
	}
}

// manyWays is from how many ways of placing one roll the clock is asked before each.
const manyWays = 100_000

// accept makes the state's plan the current one, and the best if it is.
func (sr *search) accept() {
	w := sr.s.value()
	old := sr.step % pastLen
	score, now := sr.bd.soft.score(&w), sr.bd.soft.score(&sr.worth)
	if sr.seen && len(sr.past) > 0 && now.less(&score) && sr.past[old].less(&score) {
		sr.past[old] = now
		return
	}
	sr.keep(w)
	if len(sr.past) > 0 {
		sr.past[old] = score
	}
	if sr.seen && !w.less(&sr.bestWorth) {
		return
	}
	sr.tighten()
}

// settleDown has steps begin at the best plan.
func (sr *search) settleDown() {
	sr.startFrom(sr.best)
	sr.worth, sr.stale = sr.bestWorth, 0
	sr.forget()
}

// forget has plans be no worse than the current one for as long as there are none
// before it.
func (sr *search) forget() {
	sr.past = sr.past[:0]
	for range pastLen {
		sr.past = append(sr.past, sr.bd.soft.score(&sr.worth))
	}
}

// keep takes the state's batches over as the current plan.
func (sr *search) keep(w worth) {
	sr.worth = w
	copy(sr.mixFrom, sr.s.mixFrom)
	for len(sr.now) < len(sr.s.batches) {
		sr.now = append(sr.now, spec{})
	}
	sr.now = sr.now[:len(sr.s.batches)]
	for i, b := range sr.s.batches {
		sr.now[i].sess, sr.now[i].set, sr.now[i].start = b.sess, b.set, b.start
		sr.now[i].rolls = append(sr.now[i].rolls[:0], b.rolls...)
	}
}

// tighten records a new best plan, after placing its batches again in order of
// start in case that is better still.
func (sr *search) tighten() {
	sr.record()
	byStart := slices.Clone(sr.best)
	slices.SortStableFunc(byStart, func(a, b *batch) int { return cmp.Compare(a.start, b.start) })
	for i, b := range byStart {
		sr.now[i].sess, sr.now[i].set, sr.now[i].start = b.sess, b.set, b.start
		sr.now[i].rolls = append(sr.now[i].rolls[:0], b.rolls...)
	}
	sr.ruinNothing()
	sr.rebuild(byDue, false)
	if w := sr.s.value(); w.less(&sr.bestWorth) {
		sr.keep(w)
		sr.record()
	}
}

func (sr *search) record() {
	sr.seen, sr.bestWorth, sr.stale = true, sr.s.value(), 0
	sr.best = sr.best[:0]
	for _, b := range sr.s.batches {
		sr.best = append(sr.best, b.clone())
	}
	if sr.report != nil {
		sr.report()
	}
}

// run improves the plan until it is proved, the steps are done, or the clock
// or context ends it; it says whether it ended by itself.
func (sr *search) run(limit int64, proved func(*worth) bool) bool {
	if sr.expired() {
		return false
	}
	if proved(&sr.bestWorth) {
		return true
	}
	patience := max(limit/8, 300)
	for end := sr.step + limit; sr.step < end; {
		sr.step++
		if sr.step%8 == 0 && sr.expired() {
			return false
		}
		sr.ruin()
		sr.delay()
		sr.rebuild(sr.rng.IntN(orders), true)
		before := sr.bestWorth
		sr.accept()
		if sr.bestWorth != before {
			if proved(&sr.bestWorth) {
				return true
			}
		}
		if sr.stale++; sr.stale > patience {
			sr.restart()
		}
	}
	return true
}

// smallRolls is up to how many rolls a search also begins again from nothing.
const smallRolls = 15

// restart begins again from the best plan or from nothing.
func (sr *search) restart() {
	sr.settleDown()
	if len(sr.m.rolls) > smallRolls || sr.rng.IntN(2) == 0 {
		return
	}
	clear(sr.s.mixFrom)
	sr.now = sr.now[:0]
	sr.ruinNothing()
	sr.rebuild(sr.rng.IntN(orders), true)
	sr.keep(sr.s.value())
	sr.forget()
}

// startFrom makes batches the current plan, kits mixed no sooner than there.
func (sr *search) startFrom(batches []*batch) {
	sr.now = sr.now[:0]
	clear(sr.mixFrom)
	for _, b := range batches {
		sr.now = append(sr.now, spec{sess: b.sess, set: b.set, rolls: slices.Clone(b.rolls), start: b.start})
		if b.mixes {
			sr.mixFrom[b.set] = b.start
		}
	}
	slices.SortStableFunc(sr.now, func(a, b spec) int { return cmp.Compare(a.start, b.start) })
}

// fill tries once more to place every roll that the best plan leaves out, as
// it stands, and takes what betters it.
func (sr *search) fill() {
	s := sr.s
	for _, b := range sr.best {
		s.load(b.clone())
	}
	sr.bd.version++
	sr.bd.skip, sr.bd.tie, sr.bd.first, sr.bd.avoid, s.hangBy = nil, 0, 0, -1, hangFast
	for r := range sr.m.rolls {
		if r%64 == 63 && sr.expired() {
			break
		}
		if s.of[r] == nil {
			sr.bd.insert(r)
		}
	}
	if w := s.value(); w.less(&sr.bestWorth) {
		sr.record()
	}
	s.reset()
}
