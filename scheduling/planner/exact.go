package planner

import (
	"cmp"
	"slices"
)

const (
	// exhaustRolls is up to how many rolls held to one session are enumerated.
	exhaustRolls = 15
	// exhaustTries is how many batches an enumeration places at most.
	exhaustTries = 60_000
)

// exhaust tries, for each session that a held roll is left out of, every
// grouping and order of its rolls, the other sessions standing as in the best
// plan. It says whether it ended by itself.
func (sr *search) exhaust() bool {
	m, s := sr.m, sr.s
	for sess := range m.sess {
		var rolls []int
		short := false
		for i := range m.rolls {
			if r := &m.rolls[i]; r.held == sess && len(r.sessions) > 0 {
				rolls = append(rolls, i)
				short = short || !sr.placed(i)
			}
		}
		if !short || len(rolls) > exhaustRolls {
			continue
		}
		s.reset()
		for _, b := range sr.best {
			if b.sess != sess {
				s.load(b.clone())
			}
		}
		en := &enumeration{sr: sr, sess: sess, tries: exhaustTries}
		en.group(rolls)
		if en.place(len(rolls)) {
			sr.record()
		}
		if en.stopped {
			return false
		}
	}
	return true
}

func (sr *search) placed(roll int) bool {
	return slices.ContainsFunc(sr.best, func(b *batch) bool { return slices.Contains(b.rolls, roll) })
}

// An enumeration is a depth-first search over the runs of one session.
type enumeration struct {
	sr      *search
	sess    int
	types   [][]int // rolls that are alike in all but name
	next    []int   // by type: how many are placed
	tries   int
	stopped bool
}

func (en *enumeration) group(rolls []int) {
	m := en.sr.m
	at := make(map[int]int)
	for _, r := range rolls {
		t, ok := at[m.rolls[r].typ]
		if !ok {
			t = len(en.types)
			at[m.rolls[r].typ] = t
			en.types = append(en.types, nil)
		}
		en.types[t] = append(en.types[t], r)
	}
	en.next = make([]int, len(en.types))
}

// place adds runs until none of n rolls is left; it undoes what did not lead
// there.
func (en *enumeration) place(n int) bool {
	if n == 0 {
		return true
	}
	s, m := en.sr.s, en.sr.m
	for _, load := range en.loads() {
		class := m.rolls[load[0]].class
		for _, set := range m.setsOf[m.class[class].process] {
			if en.tries--; en.tries < 0 {
				return false
			}
			if en.tries%64 == 0 && en.sr.expired() {
				en.stopped, en.tries = true, 0
				return false
			}
			b := s.fresh(en.sess, set)
			for _, r := range load {
				m.with(b, r)
			}
			if !s.place(b) {
				s.release(b)
				continue
			}
			en.count(load, 1)
			if en.place(n - len(load)) {
				return true
			}
			en.count(load, -1)
			s.detach(b)
			s.batches = s.batches[:len(s.batches)-1]
			s.release(b)
		}
	}
	return false
}

// count moves on, or back, past the rolls of a load.
func (en *enumeration) count(load []int, by int) {
	for _, r := range load {
		for t := range en.types {
			if slices.Contains(en.types[t], r) {
				en.next[t] += by
			}
		}
	}
}

// loads are the contents that one more run can have, the fullest first. Some
// set may still refuse one.
func (en *enumeration) loads() [][]int {
	m := en.sr.m
	tank := &m.tanks[m.sess[en.sess].tank]
	var out [][]int
	var load []int
	var grow func(t int, height int64)
	grow = func(t int, height int64) {
		if t == len(en.types) {
			if len(load) > 0 {
				out = append(out, slices.Clone(load))
			}
			return
		}
		rolls := en.types[t][en.next[t]:]
		size := len(load)
		grow(t+1, height)
		for _, r := range rolls {
			ro := &m.rolls[r]
			k := &m.kinds[ro.kind]
			if len(load) > 0 && !m.share(m.rolls[load[0]].class, ro.class) {
				break
			}
			if height += k.height / k.holds; height > tank.height || len(out) >= maxLoads {
				break
			}
			load = append(load, r)
			grow(t+1, height)
		}
		load = load[:size]
	}
	grow(0, 0)
	slices.SortStableFunc(out, func(a, b []int) int { return cmp.Compare(len(b), len(a)) })
	return out
}

// maxLoads bounds the contents that are listed for one run.
const maxLoads = 4_000
