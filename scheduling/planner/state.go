package planner

import "slices"

// A batch is one run of a partial plan.
type batch struct {
	sess, set int
	rolls     []int // in the order in which they are hung
	cabs      []int // cabinet of each roll

	class      int // whose times it runs by
	reels      []int64
	area, need int64 // film area; solution that covers the reels
	load       int64
	mixes      bool

	start, mixed, wet, end, clear int64
}

func (b *batch) clone() *batch {
	c := *b
	c.rolls, c.cabs, c.reels = slices.Clone(b.rolls), slices.Clone(b.cabs), slices.Clone(b.reels)
	return &c
}

// A state is a partial plan: batches in the order in which they were placed,
// with the timelines they make.
type state struct {
	m       *model
	batches []*batch
	of      []*batch // by roll

	stays     [][]stay // by tank
	hands     [][]busy // by operator
	inBath    [][]busy // by bath
	reels     [][]use  // by kind
	drying    [][]use  // by cabinet
	area      []int64  // used of each bath
	runs      []int64
	drawn     []int64
	mixedAt   []int64  // by set; never: still a kit
	mixer     []*batch // who mixed it, nil: frozen or nobody
	freeBuf   []int64
	mixFrom   []int64 // by set: before which its kit is not mixed
	hangBy    int
	dryBy     int64    // when film had better be dry, for hangDue; 0: any time
	only      string   // the one rule of time that counts; all when empty
	relaxed   bool     // lets kits be mixed as late as can be; for bounds alone
	lax       bool     // leaves out work by hand and hanging; for bounds alone
	notBefore int64    // no batch starts before; for bounds alone
	batchBuf  []*batch // batches to use again
}

func newState(m *model) *state {
	s := &state{
		m: m, of: make([]*batch, len(m.rolls)),
		stays: make([][]stay, len(m.tanks)), hands: make([][]busy, m.operators),
		inBath: make([][]busy, len(m.baths)), reels: make([][]use, len(m.kinds)), drying: make([][]use, len(m.cabs)),
		area: make([]int64, len(m.baths)), runs: make([]int64, len(m.baths)), drawn: make([]int64, len(m.baths)),
		mixedAt: make([]int64, len(m.sets)), mixer: make([]*batch, len(m.sets)), mixFrom: make([]int64, len(m.sets)), freeBuf: make([]int64, len(m.cabs)),
	}
	for i := range s.mixedAt {
		s.mixedAt[i] = never
	}
	return s
}

func copyLists[T any](dst, src [][]T) {
	for i := range src {
		dst[i] = append(dst[i][:0], src[i]...)
	}
}

// reset empties s but for the frozen batches.
func (s *state) reset() {
	b := s.m.base
	s.batchBuf = append(s.batchBuf, s.batches...)
	s.batches = s.batches[:0]
	clear(s.of)
	copyLists(s.stays, b.stays)
	copyLists(s.hands, b.hands)
	copyLists(s.inBath, b.inBath)
	copyLists(s.reels, b.reels)
	copyLists(s.drying, b.drying)
	copy(s.area, b.area)
	copy(s.runs, b.runs)
	copy(s.drawn, b.drawn)
	copy(s.mixedAt, b.mixedAt)
	clear(s.mixer)
}

// fresh is an empty batch to fill.
func (s *state) fresh(sess, set int) *batch {
	var b *batch
	if n := len(s.batchBuf); n > 0 {
		b, s.batchBuf = s.batchBuf[n-1], s.batchBuf[:n-1]
		*b = batch{rolls: b.rolls[:0], cabs: b.cabs[:0], reels: b.reels}
	} else {
		b = &batch{reels: make([]int64, len(s.m.kinds))}
	}
	b.sess, b.set = sess, set
	return b
}

func (s *state) release(b *batch) { s.batchBuf = append(s.batchBuf, b) }

// with adds a roll to a batch that is not placed, in hanging order.
func (m *model) with(b *batch, roll int) {
	at := len(b.rolls)
	for at > 0 && m.rolls[b.rolls[at-1]].hangRank > m.rolls[roll].hangRank {
		at--
	}
	b.rolls = slices.Insert(b.rolls, at, roll)
	b.cabs = append(b.cabs, 0)
}

// attach puts a batch with its times into the timelines.
func (s *state) attach(b *batch) {
	m := s.m
	se, cl := &m.sess[b.sess], &m.class[b.class]
	s.stays[se.tank] = append(s.stays[se.tank], stay{span{b.start, b.clear}, cl.process, b})
	ops := append(s.hands[se.op], busy{span{b.start, b.mixed + b.load}, b})
	for _, h := range cl.hands {
		if !s.lax {
			ops = append(ops, busy{span{b.wet + h.from, b.wet + h.to}, b})
		}
	}
	s.hands[se.op] = ops
	for k, n := range b.reels {
		if n > 0 {
			s.reels[k] = append(s.reels[k], use{span{b.mixed, b.end + m.kinds[k].dry}, n, b})
		}
	}
	for i, r := range b.rolls {
		s.of[r] = b
		if s.lax {
			continue
		}
		c := b.cabs[i]
		if n := len(s.drying[c]); n > 0 && s.drying[c][n-1].owner == b {
			s.drying[c][n-1].n += m.rolls[r].takes[c]
		} else {
			s.drying[c] = append(s.drying[c], use{span{b.end, b.end + m.cabs[c].dry}, m.rolls[r].takes[c], b})
		}
	}
	set := &m.sets[b.set]
	for _, ba := range set.baths {
		s.spend(ba, b, 1)
		if !m.baths[ba].oneShot {
			s.inBath[ba] = append(s.inBath[ba], busy{span{b.start, b.end}, b})
		}
	}
	if b.mixes {
		s.mixedAt[b.set], s.mixer[b.set] = b.mixed, b
	}
}

// spend takes (sign 1) or gives back (sign −1) what a batch uses of a bath.
func (s *state) spend(bath int, b *batch, sign int64) {
	s.area[bath] += sign * b.area
	s.runs[bath] += sign
	if s.m.baths[bath].oneShot {
		s.drawn[bath] += sign * s.m.baths[bath].draw(b.area, b.need)
	}
}

// draw is what a run takes of a one-shot bath.
func (ba *bathM) draw(area, need int64) int64 {
	if ba.run > 0 {
		need = max(need, (area*1000+ba.run-1)/ba.run)
	}
	return need
}

// detach takes a batch out of the timelines, not off the list of batches.
func (s *state) detach(b *batch) {
	m := s.m
	se := &m.sess[b.sess]
	s.stays[se.tank] = dropStays(s.stays[se.tank], b)
	s.hands[se.op] = dropBusy(s.hands[se.op], b)
	for k, n := range b.reels {
		if n > 0 {
			s.reels[k] = dropUses(s.reels[k], b)
		}
	}
	for i, r := range b.rolls {
		if i == 0 || b.cabs[i] != b.cabs[i-1] {
			s.drying[b.cabs[i]] = dropUses(s.drying[b.cabs[i]], b)
		}
		s.of[r] = nil
	}
	for _, ba := range m.sets[b.set].baths {
		s.spend(ba, b, -1)
		if !m.baths[ba].oneShot {
			s.inBath[ba] = dropBusy(s.inBath[ba], b)
		}
	}
	if b.mixes {
		s.mixedAt[b.set], s.mixer[b.set] = never, nil
	}
}

// place finds the earliest time for a batch, puts it into the plan, and says
// whether there was one.
func (s *state) place(b *batch) bool {
	if !s.room(b) {
		return false
	}
	s.attach(b)
	s.batches = append(s.batches, b)
	return true
}

// load puts a batch into the plan as it is.
func (s *state) load(b *batch) {
	s.attach(b)
	s.batches = append(s.batches, b)
}

// room gives a batch its shape and its earliest time; false when it cannot be.
func (s *state) room(b *batch) bool {
	return s.m.shape(b) == "" && s.carries(b) == -1 && s.when(b) == ""
}
