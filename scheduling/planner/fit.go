package planner

// shape computes what follows from a batch's rolls, session and set alone:
// class, reels, area, loading. It returns the code of the first rule broken,
// or "".
func (m *model) shape(b *batch) string {
	clear(b.reels)
	b.area, b.class = 0, m.rolls[b.rolls[0]].class
	short := b.class
	for _, r := range b.rolls {
		ro := &m.rolls[r]
		if !ro.open[b.sess] {
			return ReasonNoSession
		}
		if ro.class != b.class {
			if !m.share(ro.class, b.class) || !m.share(ro.class, short) {
				return reasonClass
			}
			if m.leads(ro.class, b.class) {
				b.class = ro.class
			}
			if m.class[ro.class].dev < m.class[short].dev {
				short = ro.class
			}
		}
		if !m.sets[b.set].carries[ro.class] {
			return ReasonNoBath
		}
		b.area += ro.area
		b.reels[ro.kind]++
	}
	if !m.sets[b.set].serves[m.class[b.class].process] {
		return ReasonNoBath
	}
	tank := &m.tanks[m.sess[b.sess].tank]
	var height int64
	b.need, b.load = 0, 0
	code := ""
	for k, n := range b.reels {
		if n == 0 {
			continue
		}
		kind := &m.kinds[k]
		n = (n + kind.holds - 1) / kind.holds
		b.reels[k] = n
		if n > kind.count {
			code = ReasonReels
		}
		height += n * kind.height
		b.need += n * kind.solution
		b.load += n * kind.load
	}
	switch {
	case code != "":
		return code
	case height > tank.height:
		return ReasonTankHeight
	case b.need > tank.volume:
		return ReasonSolution
	}
	return m.runFits(b)
}

// reasonClass is what shape says of rolls that may not share; a roll alone
// never meets it.
const reasonClass = "class"

// runFits checks what one run asks of each bath by itself.
func (m *model) runFits(b *batch) string {
	tank := &m.tanks[m.sess[b.sess].tank]
	for _, i := range m.sets[b.set].baths {
		ba := &m.baths[i]
		if b.need > ba.volume {
			return ReasonSolution
		}
		if ba.run >= 0 && b.area > ba.run*min(ba.volume, tank.volume)/1000 {
			return ReasonRunArea
		}
		if ba.oneShot && ba.draw(b.area, b.need) > tank.volume {
			return ReasonRunArea
		}
	}
	return ""
}

// carries finds the first bath with too little left for a batch; −1 when all
// have enough.
func (s *state) carries(b *batch) int {
	for _, i := range s.m.sets[b.set].baths {
		ba := &s.m.baths[i]
		if b.area > ba.area-s.area[i] || s.runs[i] >= ba.runs {
			return i
		}
		if ba.oneShot && ba.draw(b.area, b.need) > ba.volume-s.drawn[i] {
			return i
		}
	}
	return -1
}

// life gives the bath of a batch's set that dies first, and the last wet start
// at which it is alive for its step; mixed is when the set is mixed.
func (m *model) life(b *batch, mixed int64) (bath int, last int64) {
	bath, last = -1, never
	for _, st := range m.class[b.class].steps {
		for _, i := range m.sets[b.set].baths {
			ba := &m.baths[i]
			if ba.role != st.role {
				continue
			}
			dies := ba.expires
			if m.sets[b.set].mix && ba.life < never {
				dies = min(dies, mixed+ba.life)
			}
			if dies < never && dies-st.begins < last {
				bath, last = i, dies-st.begins
			}
		}
	}
	return bath, last
}

// when gives a shaped batch the earliest times the timelines allow. It returns
// "", or the code of the rule that stood in the way last.
func (s *state) when(b *batch) string {
	m := s.m
	se, cl, set := &m.sess[b.sess], &m.class[b.class], &m.sets[b.set]
	tank := &m.tanks[se.tank]
	b.mixes = set.mix && s.mixedAt[b.set] == never
	var mix int64
	if b.mixes {
		mix = set.takes
	}
	prep := max(tank.warm[cl.process], b.load)
	wet := mix + prep
	end := wet + cl.wet
	clear := end + tank.clean

	from, why := max(se.start, s.notBefore), ReasonSessionTime
	if b.mixes {
		from = max(from, s.mixFrom[b.set])
	}
	for _, r := range b.rolls {
		if in := m.rolls[r].in; in > from {
			from, why = in, ReasonHandedIn
		}
	}
	if set.mix && !b.mixes && s.mixedAt[b.set] > from {
		from, why = s.mixedAt[b.set], ReasonBathBusy
	}
	last, dead := se.end-clear, why
	if b.mixes {
		if set.by < last {
			last, dead = set.by, ReasonBathLife
		}
		for _, st := range cl.steps {
			for _, i := range set.baths {
				if m.baths[i].role == st.role && prep+st.begins > m.baths[i].life {
					return ReasonBathLife
				}
				if m.baths[i].role == st.role && m.baths[i].expires-st.begins-wet < last {
					last, dead = m.baths[i].expires-st.begins-wet, ReasonBathLife
				}
			}
		}
	} else if _, lastWet := m.life(b, s.mixedFor(b.set)); lastWet-wet < last {
		last, dead = lastWet-wet, ReasonBathLife
	}
	why = dead
	for t := from; t <= last; {
		move, code := s.step(b, t, t+mix, t+wet, t+end, t+clear)
		if move == 0 {
			b.start, b.mixed, b.wet, b.end, b.clear = t, t+mix, t+wet, t+end, t+clear
			return ""
		}
		if move >= never {
			return code
		}
		t += move
		why = code
	}
	return why
}

// mixedFor is when a set's baths begin their life.
func (s *state) mixedFor(set int) int64 {
	if s.relaxed {
		return min(s.m.sets[set].by, s.m.end) + s.m.sets[set].takes
	}
	return s.mixedAt[set]
}

// step says how far a batch at these times has to move on, and for what; 0
// when it stands.
func (s *state) step(b *batch, start, mixed, wet, end, clear int64) (int64, string) {
	m := s.m
	se, cl := &m.sess[b.sess], &m.class[b.class]
	if mv := pastStays(s.stays[se.tank], span{start, clear}, cl.process, m.tanks[se.tank].flush); mv > 0 && s.minds(ReasonSessionTime) {
		return mv, ReasonSessionTime
	}
	if mv := pastBusy(s.hands[se.op], span{start, mixed + b.load}); mv > 0 && s.minds(ReasonOperator) {
		return mv, ReasonOperator
	}
	for _, h := range cl.hands {
		if s.lax || !s.minds(ReasonOperator) {
			break
		}
		if mv := pastBusy(s.hands[se.op], span{wet + h.from, wet + h.to}); mv > 0 {
			return mv, ReasonOperator
		}
	}
	for _, i := range m.sets[b.set].baths {
		if !m.baths[i].oneShot && s.minds(ReasonBathBusy) {
			if mv := pastBusy(s.inBath[i], span{start, end}); mv > 0 {
				return mv, ReasonBathBusy
			}
		}
	}
	for k, n := range b.reels {
		if n > 0 && s.minds(ReasonReels) {
			if mv := pastUses(s.reels[k], span{mixed, end + m.kinds[k].dry}, n, m.kinds[k].count); mv > 0 {
				return mv, ReasonReels
			}
		}
	}
	if s.lax || !s.minds(ReasonCabinet) {
		return 0, ""
	}
	return s.hang(b, end)
}

// minds says that a rule counts; explanations switch all but one off.
func (s *state) minds(code string) bool { return s.only == "" || s.only == code }

// How rolls choose among the cabinets that have room.
const (
	hangFast = iota // the one that dries soonest
	hangWait        // only one of those that dry soonest of all that take it
	hangSlow        // the one that dries latest, to leave room in the others
	hangDue         // the one that dries latest without being too late for it
)

// hang gives each roll of a batch that ends at an instant a cabinet.
func (s *state) hang(b *batch, end int64) (int64, string) {
	m := s.m
	for c := range m.cabs {
		want, need := span{end, end + m.cabs[c].dry}, int64(0)
		for _, r := range b.rolls {
			need += m.rolls[r].takes[c]
		}
		if s.freeBuf[c] = m.cabs[c].positions - inAll(s.drying[c], want); s.freeBuf[c] < need {
			s.freeBuf[c] = m.cabs[c].positions - peak(s.drying[c], want)
		}
	}
	for i, r := range b.rolls {
		best := -1
		for c, takes := range m.rolls[r].takes {
			if takes > 0 && takes <= s.freeBuf[c] && (best < 0 || s.hangsBetter(r, end, c, best)) {
				best = c
			}
		}
		if best >= 0 && s.hangBy == hangWait && m.cabs[best].dry > m.rolls[r].fastest {
			best = -1
		}
		if best < 0 {
			next := int64(never)
			for c, takes := range m.rolls[r].takes {
				if takes > 0 {
					next = min(next, nextRelease(s.drying[c], end))
				}
			}
			if next >= never {
				return never, ReasonCabinet
			}
			return next - end, ReasonCabinet
		}
		b.cabs[i] = best
		s.freeBuf[best] -= m.rolls[r].takes[best]
	}
	return 0, ""
}

// hangsBetter says that a roll had better hang in one cabinet than in another.
func (s *state) hangsBetter(roll int, end int64, c, than int) bool {
	dry, other := s.m.cabs[c].dry, s.m.cabs[than].dry
	switch s.hangBy {
	case hangSlow:
		return dry >= other
	case hangDue:
		late := func(dry int64) int64 {
			l := s.m.rolls[roll].late(end + dry)
			if s.dryBy > 0 && end+dry > s.dryBy {
				l += never / 2
			}
			return l
		}
		if a, b := late(dry), late(other); a != b {
			return a < b
		}
		return dry > other
	}
	return dry < other
}
