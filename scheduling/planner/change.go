package planner

import (
	"fmt"
	"slices"

	"wetside/lab/units"
)

// fits says that the roll can be placed in the plan as it stands, and notes in
// which session.
func (ex *explainer) fits() bool {
	s, m := ex.s, ex.s.m
	r := &m.rolls[ex.roll]
	for _, sess := range r.sessions {
		if slices.ContainsFunc(m.setsOf[m.class[r.class].process], func(set int) bool { return ex.fitsNew(sess, set) }) {
			return true
		}
	}
	return slices.ContainsFunc(s.batches, func(b *batch) bool {
		if !r.open[b.sess] || !m.share(r.class, b.class) {
			return false
		}
		_, ok := ex.bd.tryJoin(b, ex.roll, base{})
		if ok {
			ex.in = b.sess
		}
		return ok
	})
}

func (ex *explainer) fitsNew(sess, set int) bool {
	_, ok := ex.bd.tryNew(sess, set, ex.roll, base{})
	if ok {
		ex.in = sess
	}
	return ok
}

// change finds the smallest single change with which the roll can be placed in
// the plan as it stands: each is made to the model, tried and taken back. With a
// verifier the first change that planning again bears out is taken, or, when
// none is, the first.
func (ex *explainer) change(verify func(r *Remedy, roll, sess int) bool) (say string, r *Remedy, verified bool) {
	for _, try := range []func() (string, *Remedy){ex.moreReels, ex.morePositions, ex.moreBath, ex.longerSession, ex.anotherSession} {
		text, remedy := try()
		if text == "" {
			continue
		}
		if verify != nil && verify(remedy, ex.roll, ex.in) {
			return text, remedy, true
		}
		if say == "" {
			say, r = text, remedy
		}
		if verify == nil {
			break
		}
	}
	return say, r, false
}

func (ex *explainer) moreReels() (string, *Remedy) {
	m := ex.s.m
	k := m.rolls[ex.roll].kind
	if m.kinds[k].count == 0 {
		return "", nil // rolls of this kind were closed to every session
	}
	m.kinds[k].count++
	defer func() { m.kinds[k].count-- }()
	if ex.fits() {
		return "one more " + m.p.Reels[k].Kind + " reel", &Remedy{Kind: RemedyReel, Of: m.p.Reels[k].Kind, Count: 1}
	}
	return "", nil
}

func (ex *explainer) morePositions() (string, *Remedy) {
	m := ex.s.m
	best, cab, in := int64(never), -1, 0
	for c, takes := range m.rolls[ex.roll].takes {
		before := m.cabs[c].positions
		for n := int64(1); n <= takes && n < best; n++ {
			m.cabs[c].positions = before + n
			if ex.fits() {
				best, cab, in = n, c, ex.in
			}
		}
		m.cabs[c].positions = before
	}
	if cab < 0 {
		return "", nil
	}
	ex.in = in
	return plural(best, "more hanging position", "more hanging positions") + " in cabinet " + m.p.Cabinets[cab].ID,
		&Remedy{Kind: RemedyPositions, Of: m.p.Cabinets[cab].ID, Count: best}
}

// moreBath tries one more kit like each on the shelf, then room for this roll
// in each set that is mixed.
func (ex *explainer) moreBath() (string, *Remedy) {
	s, m := ex.s, ex.s.m
	r := &m.rolls[ex.roll]
	process := m.class[r.class].process
	for _, set := range m.setsOf[process] {
		if m.sets[set].mix && ex.fitsWithKit(set) {
			return "one more kit " + m.p.BathSets[set].Mix.Kit, &Remedy{Kind: RemedyKit, Of: m.p.BathSets[set].ID, Count: 1}
		}
	}
	for _, set := range m.setsOf[process] {
		if m.sets[set].mix && s.mixedAt[set] == never {
			continue
		}
		kept := slices.Clone(m.baths)
		for _, b := range m.sets[set].baths {
			ba := &m.baths[b]
			if ba.area < never {
				ba.area = max(ba.area, s.area[b]+r.area)
			}
			if ba.runs < never {
				ba.runs = max(ba.runs, s.runs[b]+1)
			}
			if ba.oneShot {
				ba.volume = max(ba.volume, s.drawn[b]+ba.draw(r.area, m.kinds[r.kind].solution))
			}
		}
		ok := ex.fits()
		m.baths = kept
		if ok {
			lacks := ex.lacking(set)
			return fmt.Sprintf("room for %s more roll-equivalents in bath set %s", rollsUp(lacks), m.p.BathSets[set].ID),
				&Remedy{Kind: RemedyCapacity, Of: m.p.BathSets[set].ID, Count: lacks}
		}
	}
	return "", nil
}

// fitsWithKit adds a kit like a set, unused, for the one question.
func (ex *explainer) fitsWithKit(set int) bool {
	s, m := ex.s, ex.s.m
	before := *m
	copied := m.sets[set]
	copied.baths = nil
	for _, b := range m.sets[set].baths {
		copied.baths = append(copied.baths, len(m.baths))
		m.baths = append(m.baths[:len(m.baths):len(m.baths)], m.baths[b])
	}
	m.sets = append(m.sets[:len(m.sets):len(m.sets)], copied)
	grown := *s
	grown.area = grow(s.area, len(m.baths), 0)
	grown.runs = grow(s.runs, len(m.baths), 0)
	grown.drawn = grow(s.drawn, len(m.baths), 0)
	grown.mixedAt = grow(s.mixedAt, len(m.sets), never)
	grown.inBath = grow(s.inBath, len(m.baths), nil)
	grown.mixFrom = grow(s.mixFrom, len(m.sets), 0)
	grown.mixer = grow(s.mixer, len(m.sets), nil)
	trial := explainer{s: &grown, roll: ex.roll, bd: newBuilder(&grown)}
	ok := slices.ContainsFunc(m.rolls[ex.roll].sessions, func(sess int) bool { return trial.fitsNew(sess, len(m.sets)-1) })
	ex.in = trial.in
	*m = before
	return ok
}

// grow is a copy of a list with more of a value.
func grow[T any](list []T, n int, v T) []T {
	out := slices.Clone(list)
	for len(out) < n {
		out = append(out, v)
	}
	return out
}

// lacking is the film area by which a set is short of the roll.
func (ex *explainer) lacking(set int) int64 {
	s, m := ex.s, ex.s.m
	area := m.rolls[ex.roll].area
	short := int64(0)
	for _, b := range m.sets[set].baths {
		short = max(short, area-(m.baths[b].area-s.area[b]))
	}
	if short == 0 { // it lacks runs or volume
		return area
	}
	return min(short, area)
}

// longer are the extensions of a session that are tried.
var longer = []int64{15 * 60, 30 * 60, 60 * 60, 90 * 60, 2 * 60 * 60, 3 * 60 * 60}

func (ex *explainer) longerSession() (string, *Remedy) {
	m := ex.s.m
	for _, more := range longer {
		for _, sess := range m.rolls[ex.roll].sessions {
			m.sess[sess].end += more
			ok := ex.fits()
			m.sess[sess].end -= more
			if ok {
				return fmt.Sprintf("session %s longer by %s", m.p.Sessions[sess].ID, units.Duration(more).Words()),
					&Remedy{Kind: RemedyLonger, Of: m.p.Sessions[sess].ID, Longer: units.Duration(more)}
			}
		}
	}
	return "", nil
}

// anotherSession tries a session like the last that was open to the roll, on
// the days after it.
func (ex *explainer) anotherSession() (string, *Remedy) {
	m := ex.s.m
	r := &m.rolls[ex.roll]
	if r.held != noHold || len(r.sessions) == 0 {
		return "", nil
	}
	last := r.sessions[0]
	for _, sess := range r.sessions {
		if m.sess[sess].end > m.sess[last].end {
			last = sess
		}
	}
	kept := m.sess[last]
	defer func() { m.sess[last] = kept }()
	for d := int64(1); d <= 7; d++ {
		m.sess[last].start, m.sess[last].end = kept.start+d*day, kept.end+d*day
		if slices.ContainsFunc(m.setsOf[m.class[r.class].process], func(set int) bool { return ex.fitsNew(last, set) }) {
			window := &Window{Start: m.at(m.sess[last].start), End: m.at(m.sess[last].end)}
			return fmt.Sprintf("one more session like %s, on %s", m.p.Sessions[last].ID,
				window.Start.In(m.p.Sessions[last].Start.Location()).Format("2 Jan")), &Remedy{Kind: RemedySession, Of: m.p.Sessions[last].ID, Window: window}
		}
	}
	return "", nil
}
