package planner

// breakpoint is the last end of a run with which a roll is no later than when
// it is dry at an instant.
func (r *rollM) breakpoint(dry int64) int64 {
	if r.due >= never {
		return never
	}
	return r.due + days(dry, r.due)*day - r.fastest
}

// splitSessions gives each session an early part, in which a run must end for
// some rolls not to be a day later: as long as catches most of what is at stake
// while leaving most of the session outside it.
func (rx *relaxation) splitSessions() {
	m := rx.m
	rx.early = make([]int64, len(m.sess))
	for s := range m.sess {
		length := m.sess[s].end - m.sess[s].start - m.tanks[m.sess[s].tank].clean
		type stake struct{ at, weight int64 }
		var stakes []stake
		for i := range m.rolls {
			if dry := rx.bd.of(i).at[s]; dry < never {
				if b := m.rolls[i].breakpoint(dry) - m.sess[s].start; b > 0 && b < length {
					stakes = append(stakes, stake{b, m.rolls[i].weight})
				}
			}
		}
		var most int64
		for _, cut := range stakes {
			var sum int64
			for _, st := range stakes {
				if st.at <= cut.at {
					sum = min(sum+st.weight, 1<<30)
				}
			}
			if v := sum * ((length - cut.at) >> 4); v > most {
				most, rx.early[s] = v, cut.at
			}
		}
	}
}

// mostSlots bounds the units in which an early part is counted.
const mostSlots = 16

// slotOf is the unit in which the early part of session i is counted, s.
func (rx *relaxation) slotOf(i int) int64 {
	s := rx.sess[i].index
	return max((rx.early[s]+rx.m.tanks[rx.m.sess[s].tank].clean)/mostSlots, 60)
}

// slots is how long the early part of session i is, with the clean-up after it.
func (rx *relaxation) slots(i int) int {
	s := rx.sess[i].index
	if rx.early[s] == 0 {
		return 0
	}
	return int((rx.early[s] + rx.m.tanks[rx.m.sess[s].tank].clean) / rx.slotOf(i))
}
