package planner

import "slices"

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

// part is how long the early part of session i is, with the clean-up after it; 0 for
// none.
func (li *limits) part(rx *relaxation, i int) int64 {
	if li.early[i] == 0 {
		return 0
	}
	return li.early[i] + rx.cleanUp(i)
}

// slotOf is the unit in which so long an early part is counted, s.
func slotOf(part int64) int64 { return max(part/mostSlots, 60) }

// onlySoon says that rolls of a type are in early runs of session i or not there.
func (li *limits) onlySoon(rx *relaxation, t, i int) bool {
	return li.soon != nil && li.soon[t*len(rx.sess)+i]
}

// cleanUp is what follows a run of session i.
func (rx *relaxation) cleanUp(i int) int64 { return rx.m.tanks[rx.m.sess[rx.sess[i].index].tank].clean }

// usualEarly is the early part of each session.
func (rx *relaxation) usualEarly() []int64 {
	var out []int64
	for i := range rx.sess {
		out = append(out, rx.early[rx.sess[i].index])
	}
	return out
}

// jumpsAt is by type what late grows by in a run of session i that ends later than
// so long after its start.
func (rx *relaxation) jumpsAt(i int, early int64) []int64 {
	out := make([]int64, len(rx.types))
	for t := range rx.types {
		if ty := &rx.types[t]; ty.breaks[rx.sess[i].index] <= early {
			out[t] = ty.least
		}
	}
	return out
}

// hangLast has the films that hang last counted, where all are to be dry at an
// instant. Those that end so late that slow cabinets are of no use to them, and fast
// ones have no time for two of them, hang together. So the early part of a session is
// that up to then, and film that slow cabinets alone take is there or in another session.
func (ma *master) hangLast() {
	rx, m := ma.rx, ma.rx.m
	fast, spread, _ := m.hangsTogether(ma.goal.finish)
	if fast == 0 {
		return
	}
	at := ma.goal.finish - spread
	var sessions []int
	spared := make([]bool, len(rx.sess))
	ma.li.early, ma.li.jumps = slices.Clone(ma.li.early), slices.Clone(ma.li.jumps)
	ma.li.soon = make([]bool, len(rx.types)*len(rx.sess))
	for i := range rx.sess {
		se := &m.sess[rx.sess[i].index]
		early := at - se.start
		if early >= se.end-se.start-rx.cleanUp(i) {
			continue // no run ends later
		}
		if sessions = append(sessions, i); early >= rx.shortest([]int{i}, -1) {
			spared[i] = true
			ma.li.early[i], ma.li.jumps[i] = early, rx.jumpsAt(i, early)
			for t := range rx.types {
				if m.rolls[rx.types[t].rolls[0]].fastest >= ma.goal.finish-at {
					ma.li.soon[t*len(rx.sess)+i] = true
				}
			}
		}
	}
	for _, c := range rx.clusters {
		ma.bathsBefore(slices.DeleteFunc(slices.Clone(c), func(i int) bool { return !spared[i] }), at)
	}
	places := func(mine []bool) int64 {
		var sum int64
		for c := range m.cabs {
			if last := ma.goal.finish - m.cabs[c].dry; mine[c] && last > at {
				sum += max(m.cabs[c].positions-peak(m.base.drying[c], span{last, last + 1}), 0)
			}
		}
		return sum
	}
	for _, h := range rx.hangers(sessions) {
		if cap := places(h.cabs); h.most > cap {
			ma.addRow(resource{cap: cap, sessions: sessions, kit: -1, perRoll: h.perRoll, most: h.most, spared: spared})
		}
	}
}

// bathsBefore says of each bath that is in one run at a time how long early runs, which
// end before an instant, are in it at least, and how many there can be.
func (ma *master) bathsBefore(sessions []int, at int64) {
	rx, m := ma.rx, ma.rx.m
	for _, bath := range rx.busyBaths() {
		before, shortest := span{never, at}, int64(never)
		var mine []int
		for _, i := range sessions {
			run := int64(never)
			for k := range rx.sess[i].offers {
				if o := &rx.sess[i].offers[k]; slices.ContainsFunc(bath.sets, func(s int) bool { return !ma.li.shut[s] && slices.Contains(o.sets, s) }) {
					run = min(run, rx.inBath(o))
				}
			}
			if run < never {
				mine, shortest = append(mine, i), min(shortest, run)
				before.from = min(before.from, m.sess[rx.sess[i].index].start)
			}
		}
		if len(mine) < 2 {
			continue
		}
		r := resource{sessions: mine, kit: bath.kit, sets: bath.sets, early: true}
		r.cap, r.perRun = freeOf(m.base.inBath[bath.index], before), rx.inBath
		ma.addRow(r)
		r.cap, r.perRun = r.cap/shortest, func(*offer) int64 { return 1 }
		ma.addRow(r)
	}
}

// inBath is how long a run of an offer is in its baths at least.
func (rx *relaxation) inBath(o *offer) int64 {
	return rx.prep(o, -1) + rx.m.class[rx.leads[o.lead].class].wet
}

// hangsTogether says of film that is to be dry by an instant that it is all in the
// fastest cabinets at once, if its run ends no more than a spread before, and how many
// places there are for it; fast is how long it dries there, 0 if no time.
func (m *model) hangsTogether(finish int64) (fast, spread, places int64) {
	fast, slow := m.fastAndSlow()
	for c := range m.cabs {
		if last := finish - fast; m.cabs[c].dry == fast {
			places += max(m.cabs[c].positions-peak(m.base.drying[c], span{last, last + 1}), 0)
		}
	}
	return fast, min(2*fast, slow), places
}

// fastAndSlow are the shortest drying time of all cabinets and the next longer one;
// never where there is none.
func (m *model) fastAndSlow() (fast, slow int64) {
	fast, slow = never, never
	for c := range m.cabs {
		switch dry := m.cabs[c].dry; {
		case dry < fast:
			fast, slow = dry, fast
		case dry > fast:
			slow = min(slow, dry)
		}
	}
	return fast, slow
}

// addRow gives the program of a goal a row of its own.
func (ma *master) addRow(r resource) {
	ma.li.byRow = slices.Clone(ma.li.byRow)
	for _, i := range r.sessions {
		ma.li.byRow[i] = append(slices.Clip(ma.li.byRow[i]), len(ma.li.rows))
	}
	ma.li.rows = append(slices.Clip(ma.li.rows), r)
}
