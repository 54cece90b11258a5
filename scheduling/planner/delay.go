package planner

import "slices"

// A delay is not to mix a set before an instant.
type delay struct {
	set  int
	from int64
}

// maxDelays is how many delays are remembered.
const maxDelays = 16

// noteDelays looks, for a roll without room, for mixed kits that would live
// long enough for it had they been mixed later, and remembers by how much.
func (sr *search) noteDelays(roll int) {
	s, m := sr.s, sr.m
	r := &m.rolls[roll]
	t := sr.bd.trial
	s.relaxed = true
	for _, set := range m.setsOf[m.class[r.class].process] {
		mixer := s.mixer[set]
		if mixer == nil {
			continue
		}
		for _, sess := range r.sessions {
			t.sess, t.set = sess, set
			t.rolls, t.cabs = append(t.rolls[:0], roll), append(t.cabs[:0], 0)
			if !s.room(t) {
				continue
			}
			from := mixer.start
			for _, st := range m.class[t.class].steps {
				for _, b := range m.sets[set].baths {
					if ba := &m.baths[b]; ba.role == st.role && ba.life < never {
						from = max(from, t.wet+st.begins-ba.life-m.sets[set].takes)
					}
				}
			}
			if from > mixer.start {
				sr.remember(delay{set, from})
			}
		}
	}
	s.relaxed = false
}

// delay sets the state's delays for one step: the current plan's, and now and
// then one more or none.
func (sr *search) delay() {
	if !sr.mortal {
		return
	}
	copy(sr.s.mixFrom, sr.mixFrom)
	if len(sr.delays) > 0 && sr.rng.IntN(3) == 0 {
		d := sr.delays[sr.rng.IntN(len(sr.delays))]
		sr.s.mixFrom[d.set] = d.from
	} else if sr.rng.IntN(16) == 0 {
		clear(sr.s.mixFrom)
	}
}

// remember keeps the last delays noted, each once.
func (sr *search) remember(d delay) {
	if slices.Contains(sr.delays, d) {
		return
	}
	if len(sr.delays) == maxDelays {
		sr.delays = slices.Delete(sr.delays, 0, 1)
	}
	sr.delays = append(sr.delays, d)
}
