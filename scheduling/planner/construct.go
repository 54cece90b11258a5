package planner

// A gain is what placing a roll one way adds to the levels; the roll's own
// cost of being left out is the same every way. The last part breaks ties.
type gain [6]int64

func (g *gain) less(o *gain) bool {
	for i := range g {
		if g[i] != o[i] {
			return g[i] < o[i]
		}
	}
	return false
}

// A builder places rolls one by one where they add least. Its choices are the
// search's: what to skip, and how to break ties.
type builder struct {
	s *state
	// skip, when set, passes over a way of placing a roll.
	skip func() bool
	// tie orders new batches that are otherwise equal: 0 dry first, 1 most
	// capacity first, 2 as shuffled.
	tie int
	// first is the level that counts before all others.
	first int
	// avoid is a bath set not to use; −1 for none.
	avoid int
	// shut are kits not to mix, by set.
	shut []bool
	// soft, if any, are what the levels cost when they count together.
	soft    *softness
	shuffle func() int64
	trial   *batch
	failed  []int64 // by type: the version of the plan in which it found no room
	version int64
	// expired, when set, ends the looking: asked now and then.
	expired func() bool
	looked  int
}

// lookedOften is after how many ways of placing a roll the clock is asked.
const lookedOften = 512

// mostWays is how many sessions and bath sets are looked at for one roll when a
// place for it is found.
const mostWays = 20_000

// over says that the search's time is, as it was found now and then.
func (bd *builder) over() bool {
	bd.looked++
	return bd.looked%lookedOften == 0 && bd.expired != nil && bd.expired()
}

func newBuilder(s *state) *builder {
	return &builder{
		s: s, avoid: -1, shut: make([]bool, len(s.m.sets)), trial: &batch{reels: make([]int64, len(s.m.kinds))}, failed: make([]int64, s.m.types),
	}
}

// insert places a roll where it adds least, in a batch or a new one, and says
// whether it could.
func (bd *builder) insert(roll int) bool {
	s := bd.s
	typ := s.m.rolls[roll].typ
	if bd.failed[typ] == bd.version+1 {
		return false
	}
	before := s.value0()
	var best gain
	join, sess, set, skipped := (*batch)(nil), -1, -1, false
	for _, b := range s.batches {
		if b.set == bd.avoid || !s.m.rolls[roll].open[b.sess] || !s.m.share(s.m.rolls[roll].class, b.class) {
			continue
		}
		if bd.hopeless(roll, b.sess, join != nil, &best) {
			continue
		}
		if bd.over() {
			skipped = true
			break
		}
		if bd.skip != nil && bd.skip() {
			skipped = true
			continue
		}
		if g, ok := bd.tryJoin(b, roll, before); ok && (join == nil || g.less(&best)) {
			best, join = g, b
		}
	}
	process := s.m.class[s.m.rolls[roll].class].process
	ways := 0
	sessions := s.m.rolls[roll].sessions
	if bd.first == 0 && bd.soft == nil && join != nil && best[0] <= s.m.rolls[roll].soonLate && best[1] <= s.m.rolls[roll].waste {
		sessions = nil // no run of its own can be better
	}
looking:
	for _, se := range sessions {
		if bd.hopeless(roll, se, join != nil || sess >= 0, &best) {
			continue
		}
		for _, st := range s.m.setsOf[process] {
			if ways++; bd.over() || ways > mostWays && (join != nil || sess >= 0) {
				skipped = true
				break looking
			}
			if st == bd.avoid || bd.shut[st] && s.mixedAt[st] == never || bd.skip != nil && bd.skip() {
				skipped = true
				continue
			}
			if g, ok := bd.tryNew(se, st, roll, before); ok && (sess < 0 && join == nil || g.less(&best)) {
				best, join, sess, set = g, nil, se, st
			}
		}
	}
	switch {
	case join != nil:
		bd.join(join, roll)
	case sess >= 0:
		b := s.fresh(sess, set)
		s.m.with(b, roll)
		s.place(b)
	default:
		if !skipped {
			bd.failed[typ] = bd.version + 1
		}
		return false
	}
	bd.version++
	return true
}

// hopeless says that in a session the roll would be later than the best way
// found already, whatever else happens.
func (bd *builder) hopeless(roll, sess int, some bool, best *gain) bool {
	m := bd.s.m
	r := &m.rolls[roll]
	soonest := max(m.sess[sess].start, r.in) + m.class[r.class].wet + r.fastest
	return some && bd.first == 0 && bd.soft == nil && r.fastest < never && !m.class[r.class].shareable && r.late(soonest) > best[0]
}

// base is what gains are measured against.
type base struct{ finish, wasted int64 }

func (s *state) value0() base {
	var v base
	for _, b := range s.batches {
		v.finish = max(v.finish, s.dry(b))
	}
	if len(s.m.waste) > 0 {
		v.wasted = s.wasted()
	}
	return v
}

// tryNew measures a roll in a batch of its own.
func (bd *builder) tryNew(sess, set, roll int, before base) (gain, bool) {
	s := bd.s
	t := bd.trial
	t.sess, t.set = sess, set
	t.rolls, t.cabs = append(t.rolls[:0], roll), append(t.cabs[:0], 0)
	if !s.room(t) {
		return gain{}, false
	}
	dry := s.dry(t)
	g := gain{s.m.rolls[roll].late(dry), 0, 1, max(dry-before.finish, 0), s.changes(roll, sess), dry}
	if t.mixes {
		g[1] = s.m.sets[set].price
	}
	g[1] += bd.wasteGain(t)
	switch bd.tie {
	case 1:
		g[3], g[4], g[5] = -s.m.tanks[s.m.sess[sess].tank].height, g[3], dry
	case 2:
		g[3] = bd.shuffle()
	}
	return bd.rank(g), true
}

// rank puts the level that counts first in front.
func (bd *builder) rank(g gain) gain {
	if bd.soft != nil {
		g[0] = bd.soft.gain(&g)
		return g
	}
	g[0], g[bd.first] = g[bd.first], g[0]
	return g
}

func (bd *builder) wasteGain(b *batch) int64 {
	s := bd.s
	if len(s.m.waste) == 0 {
		return 0
	}
	before := s.wasted()
	for _, i := range s.m.sets[b.set].baths {
		s.area[i] += b.area
	}
	after := s.wasted()
	for _, i := range s.m.sets[b.set].baths {
		s.area[i] -= b.area
	}
	return after - before
}

func (s *state) changes(roll, sess int) int64 {
	if r := &s.m.rolls[roll]; r.tracked && r.prev != sess {
		return 1
	}
	return 0
}

// tryJoin measures a roll added to a batch, which may move it.
func (bd *builder) tryJoin(b *batch, roll int, before base) (gain, bool) {
	s := bd.s
	t := bd.trial
	t.sess, t.set = b.sess, b.set
	t.rolls, t.cabs = append(t.rolls[:0], b.rolls...), append(t.cabs[:0], b.cabs...)
	s.m.with(t, roll)
	if s.m.shape(t) != "" {
		return gain{}, false
	}
	// The bath check comes before the costly part; b's own use is still in it.
	for _, i := range s.m.sets[b.set].baths {
		if t.area-b.area > s.m.baths[i].area-s.area[i] {
			return gain{}, false
		}
	}
	late := s.late(b)
	s.detach(b)
	ok := s.carries(t) == -1 && s.when(t) == "" && (!t.mixes || s.othersStand(b, t))
	var g gain
	if ok {
		dry := s.dry(t)
		finish := dry
		for _, o := range s.batches {
			if o != b {
				finish = max(finish, s.dry(o))
			}
		}
		waste := int64(0)
		if len(s.m.waste) > 0 {
			waste = bd.wasteGain(t) + s.wasted() - before.wasted
		}
		g = bd.rank(gain{s.late(t) - late, waste, 0, finish - before.finish, s.changes(roll, b.sess), dry})
	}
	s.attach(b)
	return g, ok
}

// othersStand says that every batch on a set that t mixes, in b's place, still
// comes after the mixing and within the life of the baths.
func (s *state) othersStand(b, t *batch) bool {
	for _, o := range s.batches {
		if o == b || o.set != t.set {
			continue
		}
		if o.start < t.mixed {
			return false
		}
		if _, last := s.m.life(o, t.mixed); o.wet > last {
			return false
		}
	}
	return true
}

// join adds a roll to a batch that tryJoin found it fits.
func (bd *builder) join(b *batch, roll int) {
	s := bd.s
	s.detach(b)
	s.m.with(b, roll)
	s.room(b)
	s.attach(b)
}
