package planner

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"wetside/lab/units"
)

// TestOutlinesAreAssigned draws plans of small programs by outlines, and holds the rolls
// that are assigned to reels against the outlines, the baths, and level 2; where none
// are, it tries all ways. What is left of a program is what it was before.
func TestOutlinesAreAssigned(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(21, 21))
	found, missed, none, dead, whole := 0, 0, 0, 0, 0
	for round := range 400 {
		ma := someProgram(rng)
		if ma == nil {
			continue
		}
		ma.dives = round % 2
		was, lengths := ma.sx.objective(), slices.Clone(ma.li.length)
		dv := ma.dive(rng, func() bool { return false })
		switch {
		case round%4 > 1 && dv.takeWhole():
			whole++
			holdDrawn(t, dv, fmt.Sprint("round ", round))
		case !dv.sketch():
			dead++
		case dv.assign():
			found++
			holdDrawn(t, dv, fmt.Sprint("round ", round))
		case anyAssignment(dv):
			missed++
		default:
			none++
		}
		dv.end()
		ma.refresh()
		if obj := ma.sx.objective(); obj > was+1e-4*(1+was) { // less where contents were found meanwhile
			t.Fatalf("round %d: the program costs %g after a dive, %g before", round, obj, was)
		}
		if !slices.Equal(lengths, ma.li.length) || ma.li.away != nil || slices.ContainsFunc(ma.sx.cols, func(c lpColumn) bool { return c.off }) {
			t.Fatalf("round %d: something is still out after a dive", round)
		}
	}
	t.Logf("%d assignments found, %d missed, %d times there was none; %d sketches given up; %d programs whole", found, missed, none, dead, whole)
	if whole < 10 || found < 100 || missed > found/20 {
		t.Errorf("%d assignments found, %d missed, %d times there was none; %d sketches given up", found, missed, none, dead)
	}
}

// someProgram is a solved program of the fewest runs of a made-up lab's few days; nil
// where it has no plan to go by.
func someProgram(rng *rand.Rand) *master {
	p := someDay(rng)
	first := p.Sessions
	p.Sessions, p.Rolls = nil, nil
	p.Horizon.End = p.Horizon.Start.AddDate(0, 0, 4)
	for day := range 3 {
		for _, s := range first {
			s.ID = fmt.Sprint(s.ID, "-", day)
			s.Start, s.End = s.Start.AddDate(0, 0, day), s.End.AddDate(0, 0, day)
			p.Sessions = append(p.Sessions, s)
		}
	}
	for b := range p.Baths {
		if rng.IntN(2) == 0 || p.BathSets[b].Mix != nil { // each set has one bath
			area := int64(200_000 + rng.IntN(300_000))
			p.Baths[b].AreaLeftMM2 = &area
		}
	}
	for i := range 4 + rng.IntN(7) {
		due := p.Horizon.Start.Add(time.Duration(12+rng.IntN(72)) * time.Hour)
		p.Rolls = append(p.Rolls, Roll{
			ID: fmt.Sprint(i), Class: p.Classes[rng.IntN(2)].ID, AreaMM2: []int64{50_000, 34_000}[rng.IntN(2)], Reel: "reel", Hang: "strip",
			HandedIn: p.Horizon.Start, Due: &due, Weight: int64(1 + rng.IntN(2)),
		})
	}
	for i := range p.Reels {
		p.Reels[i].Loading = units.Duration(5+rng.IntN(10)) * units.Minute
	}
	m := compile(p)
	sr := newSearch(m)
	sr.expired = func() bool { return false }
	sr.first()
	rx := newBounds(m, sr.expired).relax()
	if rx == nil {
		return nil
	}
	w := sr.bestWorth
	return rx.narrowed(goal{level: runs, worth: w, upTo: runs, target: w[runs] + 1}, sr.expired)
}

// holdDrawn holds the contents that were drawn for outlines against what they may be.
func holdDrawn(t *testing.T, dv *dive, name string) {
	t.Helper()
	rx, ma := dv.ma.rx, dv.ma
	var late, inAll int64
	rolls, area := make([]int64, len(rx.types)), make([]int64, len(rx.sets))
	for i, c := range dv.drawn {
		if c < 0 {
			continue
		}
		co := &rx.pool[c]
		if co.sess != i || rx.outlineOf(c) != dv.outline[i] {
			t.Fatalf("%s: session %d has a content of another outline", name, i)
		}
		room := make(map[[2]int]int64) // by kind and set
		for _, l := range co.loads {
			o := &rx.sess[i].offers[l.offer]
			inAll += l.runs
			for d, n := range l.reels {
				room[[2]int{o.kinds[d], l.set}] += int64(n) * o.box.holds[d]
			}
		}
		for _, it := range co.items {
			ty := &rx.types[it.typ]
			rolls[it.typ] += it.n
			area[it.set] += it.n * ty.area
			room[[2]int{ty.kind, it.set}] -= it.n
			late += it.n * ty.late[rx.sess[i].index]
			if !it.early {
				late += it.n * ma.li.jumps[i][it.typ]
			}
		}
		for k, n := range room {
			if n < 0 {
				t.Fatalf("%s: session %d has %d rolls too many for its reels of kind %d by set %d", name, i, -n, k[0], k[1])
			}
		}
	}
	for n := range rx.types {
		left := rx.types[n].n - rolls[n]
		if left < 0 {
			t.Fatalf("%s: %d rolls of type %d too many", name, -left, n)
		}
		late += left * rx.types[n].out
	}
	for s, a := range area {
		if a > rx.sets[s].area {
			t.Fatalf("%s: set %d is to take %d mm², and can take %d", name, s, a, rx.sets[s].area)
		}
	}
	if late > ma.cap(lateness) {
		t.Fatalf("%s: level 2 is %d, not %d at most", name, late, ma.cap(lateness))
	}
	if float64(inAll) > math.Ceil(dv.most) {
		t.Fatalf("%s: %d runs, not %g at most", name, inAll, dv.most)
	}
}

// anyAssignment tries all ways of putting the rolls on the reels of a dive's outlines.
func anyAssignment(dv *dive) bool {
	as := assignment{dv: dv}
	as.list()
	as.addRows()
	as.late = as.mostLate()
	room, short := make([]int64, len(as.places)), make([]int64, len(as.rows))
	for p := range as.places {
		room[p] = as.places[p].room
	}
	for r := range as.rows {
		short[r] = as.rows[r].least
	}
	left := slices.Clone(as.left)
	var try func(k int, late int64) bool
	try = func(k int, late int64) bool {
		if late > as.late {
			return false
		}
		if k == len(as.seats) {
			return !slices.ContainsFunc(left, func(n int64) bool { return n > 0 }) && !slices.ContainsFunc(short, func(n int64) bool { return n > 0 })
		}
		se := &as.seats[k]
		most := left[se.typ]
		if se.place >= 0 {
			most = min(most, room[se.place])
		}
		if k+1 == len(as.seats) || as.seats[k+1].typ != se.typ { // the last for the type takes the rest
			if most < left[se.typ] {
				return false
			}
		}
		for n := most; n >= 0; n-- {
			take := func(n int64) {
				left[se.typ] -= n
				if se.place >= 0 {
					room[se.place] -= n
					for r := range as.rows {
						short[r] -= n * as.rows[r].per(se.typ, &as.places[se.place])
					}
				}
			}
			take(n)
			ok := try(k+1, late+n*se.late)
			take(-n)
			if ok {
				return true
			}
		}
		return false
	}
	return try(0, 0)
}
