package planner

import (
	"fmt"
	"slices"
)

// listLoads lists what one run of a group may hold; false where that is too much.
func (e *ending) listLoads(g int) bool {
	m, gr := e.m, &e.groups[g]
	s := m.base
	b := s.fresh(e.sess[gr.k], 0)
	defer s.release(b)
	n := make([]int, len(gr.sorts))
	var grow func(from int) bool
	grow = func(from int) bool {
		for i := from; i < len(gr.sorts); i++ {
			if n[i] == gr.sorts[i].n {
				continue
			}
			n[i]++
			b.rolls, b.cabs = append(b.rolls, gr.sorts[i].roll), append(b.cabs, 0)
			if e.bd.work(4); e.listLoad(g, n, b) {
				if len(e.loads) > mostEndLoads || !grow(i) {
					return false
				}
			}
			n[i]--
			b.rolls, b.cabs = b.rolls[:len(b.rolls)-1], b.cabs[:len(b.cabs)-1]
		}
		return true
	}
	if !grow(0) {
		return false
	}
	at := make(map[int]int)
	for _, l := range gr.loads {
		at[e.loads[l].cell] = l
	}
	for _, l := range gr.loads {
		for i := range gr.sorts {
			if o, ok := at[e.loads[l].cell+gr.sorts[i].cell]; ok && e.loads[l].n[i] < gr.sorts[i].n && e.free(&e.loads[l], &e.loads[o], m.rolls[gr.sorts[i].roll].kind) {
				e.loads[l].more = append(e.loads[l].more, i)
			}
		}
	}
	return true
}

// listLoad adds a load, if some set takes it; one that is too large for all has no
// larger ones either.
func (e *ending) listLoad(g int, n []int, b *batch) bool {
	m, gr := e.m, &e.groups[g]
	se := &m.sess[e.sess[gr.k]]
	tank := &m.tanks[se.tank]
	l := endLoad{group: g, n: slices.Clone(n), in: se.start}
	for i, k := range n {
		l.cell += k * gr.sorts[i].cell
	}
	fits := false
	for i := range e.sets {
		b.set = e.sets[i].index
		if !m.sets[b.set].serves[gr.process] || m.shape(b) != "" {
			continue
		}
		fits = true
		l.load, l.area, l.reels = b.load, b.area, l.reels[:0]
		for _, kind := range e.binding {
			l.reels = append(l.reels, b.reels[kind])
		}
		l.time = max(tank.warm[gr.process], b.load) + m.class[b.class].wet
		last := se.end - tank.clean - l.time
		if !m.sets[b.set].mix {
			if _, wet := m.life(b, -never); wet < never {
				last = min(last, wet-(l.time-m.class[b.class].wet))
			}
		}
		l.sets = append(l.sets, endBy{i, last})
	}
	if !fits {
		return false
	}
	for _, r := range b.rolls {
		l.in, l.dry = max(l.in, m.rolls[r].in), max(l.dry, m.rolls[r].fastest)
		l.places += fewestPlaces(m.rolls[r].takes)
	}
	gr.loads = append(gr.loads, len(e.loads))
	e.loads = append(e.loads, l)
	return true
}

// free says that a load may as well be another one, with a roll more of a kind.
func (e *ending) free(l, more *endLoad, kind int) bool {
	if more.time != l.time || more.load != l.load && e.opOf[e.groups[l.group].k] >= 0 || more.in != l.in || more.dry != l.dry || e.places < never || slices.Contains(e.binding, kind) {
		return false
	}
	for _, by := range l.sets {
		if len(e.sets[by.set].areas) > 0 || !slices.Contains(more.sets, by) {
			return false
		}
	}
	return true
}

// compareSets finds sets that are like others, each with baths of its own.
func (e *ending) compareSets() {
	uses := make([]string, len(e.sets))
	for l := range e.loads {
		for _, by := range e.loads[l].sets {
			uses[by.set] += fmt.Sprint(l, by.last, " ")
		}
	}
	own := func(a int) bool {
		return len(e.sets[a].baths) <= 1 && len(e.sets[a].areas) == 0 && !slices.ContainsFunc(e.sets, func(o endSet) bool {
			return o.index != e.sets[a].index && slices.ContainsFunc(o.baths, func(b int) bool { return slices.Contains(e.sets[a].baths, b) })
		})
	}
	for a := range e.sets {
		for b := range e.sets {
			if a != b && uses[a] == uses[b] && len(e.sets[a].baths) == len(e.sets[b].baths) && own(a) && own(b) {
				e.sets[a].twins = append(e.sets[a].twins, b)
			}
		}
	}
}

// measure finds how many runs all numbers of a group take at least, and how long.
func (e *ending) measure(gr *endGroup) {
	clean := e.m.tanks[e.m.sess[e.sess[gr.k]].tank].clean
	gr.inTank, gr.inBath, gr.fewest = make([]int64, gr.cells), make([]int64, gr.cells), make([]int, gr.cells)
	left := make([]int, len(gr.sorts))
	for c := 1; c < gr.cells; c++ {
		gr.numbers(c, left)
		tank, bath, runs := int64(never), int64(never), mostEndRolls
		for _, l := range gr.loads {
			lo := &e.loads[l]
			if lo.within(left) {
				tank = min(tank, gr.inTank[c-lo.cell]+lo.time+clean)
				bath = min(bath, gr.inBath[c-lo.cell]+lo.time)
				runs = min(runs, gr.fewest[c-lo.cell]+1)
			}
		}
		e.bd.work(len(gr.loads)/16 + 1)
		gr.inTank[c], gr.inBath[c], gr.fewest[c] = min(tank, never), min(bath, never), runs
	}
}

// numbers are how many rolls of each sort are in a cell.
func (gr *endGroup) numbers(cell int, out []int) {
	for i := range gr.sorts {
		out[i] = cell / gr.sorts[i].cell % (gr.sorts[i].n + 1)
	}
}

func (l *endLoad) within(left []int) bool {
	for i, n := range l.n {
		if n > left[i] {
			return false
		}
	}
	return true
}
