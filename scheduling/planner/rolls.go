package planner

import (
	"cmp"
	"fmt"
	"slices"
)

// leftOutDays is what LeftOutDays stands for when it is 0.
const leftOutDays = 14

// days is the whole days, rounded up, by which at lies after due.
func days(at, due int64) int64 {
	if at <= due {
		return 0
	}
	return (at - due + day - 1) / day
}

// late is level 2's share of a roll that is dry at an instant.
func (r *rollM) late(dry int64) int64 { return r.weight * days(dry, r.due) }

func (m *model) compileRolls(ix indexes) {
	p := m.p
	m.banned = make([][]bool, len(p.Rolls))
	held := make([]int, len(p.Rolls))
	for i, r := range p.Rolls {
		m.banned[i] = make([]bool, len(p.Sessions))
		held[i] = noHold
		if r.Booked != "" {
			held[i] = ix.sess[r.Booked]
		}
	}
	for _, h := range p.Pins {
		held[ix.rolls[h.Roll]] = ix.sess[h.Session]
	}
	for _, h := range p.Bans {
		for s := range p.Sessions {
			if h.Session == "" || p.Sessions[s].ID == h.Session {
				m.banned[ix.rolls[h.Roll]][s] = true
			}
		}
	}
	out := p.LeftOutDays
	if out == 0 {
		out = leftOutDays
	}
	for i, r := range p.Rolls {
		ro := rollM{
			class: ix.class[r.Class], kind: ix.kinds[r.Reel], area: r.AreaMM2, weight: max(r.Weight, 1),
			in: ceilSec(m.t0, r.HandedIn), due: never, held: held[i],
			open: make([]bool, len(m.sess)), takes: make([]int64, len(m.cabs)),
		}
		ro.out = ro.weight * out
		if r.Due != nil {
			ro.due = floorSec(m.t0, *r.Due)
			ro.out += ro.weight * days(ceilSec(m.t0, p.Horizon.End), ro.due)
		}
		if held[i] != noHold {
			ro.displacedCount = 1
		}
		for s := range m.sess {
			se := &m.sess[s]
			ro.open[s] = (ro.held == noHold || ro.held == s) && !m.banned[i][s] &&
				se.process[m.class[ro.class].process] && m.tanks[se.tank].takes[ro.kind] && m.kinds[ro.kind].count > 0
			if ro.open[s] {
				ro.sessions = append(ro.sessions, s)
			}
		}
		ro.fastest = never
		for c := range m.cabs {
			if ro.takes[c] = m.cabs[c].hangs[r.Hang]; ro.takes[c] > 0 && ro.takes[c] <= m.cabs[c].positions {
				ro.fastest = min(ro.fastest, m.cabs[c].dry)
			}
		}
		m.rolls = append(m.rolls, ro)
	}
	for _, h := range p.Previous {
		i, ok := ix.rolls[h.Roll]
		if !ok {
			continue // a roll of the plan before that is no longer to be planned
		}
		ro := &m.rolls[i]
		ro.tracked, ro.prev = true, noPlace
		if h.Session != "" {
			ro.prev = unknown
			if s, ok := ix.sess[h.Session]; ok {
				ro.prev = s
			}
		}
	}
	m.rankHanging()
	m.groupRolls()
}

// rankHanging orders rolls so that those with the least choice hang first.
func (m *model) rankHanging() {
	order := make([]int, len(m.rolls))
	choice := func(i int) (n int, most int64) {
		for _, t := range m.rolls[i].takes {
			if t > 0 {
				n++
			}
			most = max(most, t)
		}
		return n, most
	}
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		na, ta := choice(a)
		nb, tb := choice(b)
		return cmp.Or(cmp.Compare(na, nb), cmp.Compare(tb, ta), cmp.Compare(a, b))
	})
	for rank, i := range order {
		m.rolls[i].hangRank = rank
	}
}

// groupRolls gives interchangeable rolls the same type.
func (m *model) groupRolls() {
	seen := make(map[string]int)
	for i := range m.rolls {
		r := &m.rolls[i]
		banned := make([]byte, len(m.banned[i]))
		for s, is := range m.banned[i] {
			if is {
				banned[s] = 1
			}
		}
		key := fmt.Sprint(r.class, r.kind, r.area, r.weight, r.in, r.due, r.held, r.tracked, r.prev, r.takes, string(banned))
		t, ok := seen[key]
		if !ok {
			t = len(seen)
			seen[key] = t
		}
		r.typ = t
	}
	m.types = len(seen)
}

// fewestPlaces is the fewest positions a roll can hang in; 0 when it hangs nowhere.
func fewestPlaces(takes []int64) int64 {
	var few int64
	for _, t := range takes {
		if t > 0 && (few == 0 || t < few) {
			few = t
		}
	}
	return few
}

// hangs says that some cabinet takes the roll at all.
func (m *model) hangs(r *rollM) bool {
	for c, t := range r.takes {
		if t > 0 && t <= m.cabs[c].positions {
			return true
		}
	}
	return false
}

// share says whether rolls of two classes may be in one batch, as far as
// these two go.
func (m *model) share(a, b int) bool {
	if a == b {
		return true
	}
	x, y := &m.class[a], &m.class[b]
	if !x.shareable || !y.shareable || x.process != y.process {
		return false
	}
	lo, hi := min(x.dev, y.dev), max(x.dev, y.dev)
	return (hi-lo)*1000 <= m.p.TolerancePermille*lo
}

// leads says that a batch of classes a and b runs by a.
func (m *model) leads(a, b int) bool {
	x, y := &m.class[a], &m.class[b]
	return x.dev > y.dev || x.dev == y.dev && x.rank < y.rank
}
