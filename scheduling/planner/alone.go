package planner

// alone is the best that a type of roll can reach if the lab is its own but
// for the frozen batches: nothing that other rolls do makes it better.
type alone struct {
	dry      int64   // soonest; never when it cannot be placed
	at       []int64 // the same by session
	inSet    []bool  // bath sets that can take it
	cost     int64   // level 2 at least
	extra    int64   // what leaving it out adds to that
	possible bool
}

// measureAlone fills in alone for every type of roll.
func (bd *bounds) measureAlone() []alone {
	m := bd.m
	out := make([]alone, m.types)
	done := make([]bool, m.types)
	s := newState(m)
	s.reset()
	t := &batch{reels: make([]int64, len(m.kinds))}
	firstStart := m.firstStarts()
	for i := range m.rolls {
		r := &m.rolls[i]
		if done[r.typ] {
			continue
		}
		done[r.typ] = true
		a := &out[r.typ]
		a.dry, a.at, a.inSet = never, make([]int64, len(m.sess)), make([]bool, len(m.sets))
		for sess := range a.at {
			a.at[sess] = never
		}
		for _, sess := range r.sessions {
			for _, set := range m.setsOf[m.class[r.class].process] {
				bd.work(8)
				t.sess, t.set = sess, set
				t.rolls, t.cabs = append(t.rolls[:0], i), append(t.cabs[:0], 0)
				if dry := s.soonest(t, firstStart[set]); dry < never {
					a.dry, a.at[sess], a.inSet[set], a.possible = min(a.dry, dry), min(a.at[sess], dry), true, true
				}
			}
		}
		a.cost = r.out
		if a.possible {
			a.cost = min(r.out, r.late(a.dry))
		}
		a.extra = r.out - a.cost
	}
	return out
}

// firstStarts is, by set, before which no batch of it begins.
func (m *model) firstStarts() []int64 {
	out := make([]int64, len(m.sets))
	for i := range out {
		out[i] = never
		for j := range m.sess {
			for p, ok := range m.sess[j].process {
				if ok && m.sets[i].serves[p] {
					out[i] = min(out[i], m.sess[j].start)
				}
			}
		}
	}
	return out
}

// soonest is when the one roll of a batch can be dry at the soonest, in any
// company: led by any class it may share with, in whichever cabinet, its kit
// mixed by itself or by another from first on.
func (s *state) soonest(t *batch, first int64) int64 {
	m := s.m
	if m.shape(t) != "" || s.carries(t) != -1 {
		return never
	}
	r := &m.rolls[t.rolls[0]]
	own, takes := r.class, r.takes
	best := int64(never)
	only := make([]int64, len(takes))
	defer func() { r.takes = takes }()
	for c := range takes {
		if takes[c] == 0 || takes[c] > m.cabs[c].positions {
			continue
		}
		clear(only)
		only[c] = takes[c]
		r.takes = only
		for lead := range m.class {
			if lead != own && (!m.share(lead, own) || !m.leads(lead, own) || !m.sets[t.set].carries[lead]) {
				continue
			}
			t.class = lead
			if s.when(t) == "" {
				best = min(best, s.dry(t))
			}
			if m.sets[t.set].mix && s.mixedAt[t.set] == never && len(m.rolls) > 1 {
				s.mixedAt[t.set], s.relaxed = first+m.sets[t.set].takes, true
				if s.when(t) == "" {
					best = min(best, s.dry(t))
				}
				s.mixedAt[t.set], s.relaxed = never, false
			}
		}
	}
	t.class = own
	return best
}
