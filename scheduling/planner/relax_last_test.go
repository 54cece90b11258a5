package planner

import (
	"cmp"
	"maps"
	"math/rand/v2"
	"slices"
	"testing"
)

// TestLastDaysTakeOneMore asks of one roll more in a session whether there is time for
// it beside what is held to that day, and holds the answer against trying all ways.
func TestLastDaysTakeOneMore(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(12, 12))
	answers := make(map[bool]int)
	for round := range 300 {
		p := heldWeek(rng)
		p.Rolls[0].Booked = ""
		m := compile(p)
		bd := newBounds(m, nil)
		rx := bd.relax()
		if rx == nil {
			continue
		}
		g := goal{level: runs, worth: worth{lateness: bd.base}, upTo: runs, finish: int64(90+rng.IntN(240)) * 60}
		ld := rx.lastDays(&g)
		for d := range ld.days {
			day := &ld.days[d]
			var held []int
			for _, rolls := range day.held {
				held = append(held, rolls...)
			}
			for i := range rx.sess {
				s := rx.sess[i].index
				if !slices.Contains(day.sess, s) || !m.rolls[0].open[s] || !bd.of(0).possible || slices.Contains(held, 0) {
					continue
				}
				m.rolls[0].held = s
				all := allEnds{s: withoutHands(m), usable: ld.usable, late: never, places: never, runs: len(m.rolls)}
				want := all.soonest(append(slices.Clone(held), 0), 0) <= g.finish
				m.rolls[0].held = noHold
				if got := ld.takes(rx, day, rx.typeOf[0], i, g.finish); got != want {
					t.Fatalf("round %d: one roll more in session %d by %d: %v, not %v", round, s, g.finish, got, want)
				}
				answers[want]++
				if bars := ld.bars(rx, g.finish); bars.has(rx.typeOf[0], i) == want {
					t.Fatalf("round %d: the roll is barred from session %d: %v", round, s, !want)
				}
			}
		}
	}
	if answers[true] < 50 || answers[false] < 50 {
		t.Errorf("there was time %d times, and %d times not: too few of one", answers[true], answers[false])
	}
}

// TestCrowdsAreParted has some content in each session of a day: it is in one part of a
// crowd, or in none if it is the crowd or more, in no more runs.
func TestCrowdsAreParted(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(13, 13))
	parted, crowded := make(map[int]int), 0
	for range 2_000 {
		ma := someProgram(rng)
		if ma == nil || len(ma.rx.pool) == 0 {
			continue
		}
		rx := ma.rx
		in := make([]*content, len(rx.sess))
		for range 3 * len(in) {
			c := &rx.pool[rng.IntN(len(rx.pool))]
			in[c.sess] = c
		}
		cr := crowd{}
		counts := make(map[countKey]int64)
		runs, more := int64(0), true
		for i, c := range in {
			cr.day = append(cr.day, i)
			if c == nil {
				continue
			}
			for _, l := range c.loads {
				runs += l.runs
			}
			for _, it := range c.items {
				counts[countKey{countRolls, int64(it.typ), int64(i)}] += it.n
			}
		}
		if rng.IntN(3) > 0 {
			cr.runs = max(int(runs)-1+rng.IntN(4), 0)
		}
		there := slices.SortedFunc(maps.Keys(counts), func(a, b countKey) int {
			return cmp.Or(cmp.Compare(a.a, b.a), cmp.Compare(a.b, b.b))
		})
		for range rng.IntN(4) {
			key := countKey{countRolls, rng.Int64N(int64(len(rx.types))), rng.Int64N(int64(len(in)))}
			if len(there) > 0 && rng.IntN(4) > 0 {
				key = there[rng.IntN(len(there))]
			}
			if !slices.ContainsFunc(cr.rolls, func(c cut) bool { return c.key == key }) {
				cr.rolls = append(cr.rolls, cut{key, float64(1 + rng.IntN(2))})
			}
		}
		for _, c := range cr.rolls {
			more = more && counts[c.key] >= int64(c.value)
		}
		fits := func(r *resource) bool {
			var sum int64
			for _, i := range r.sessions {
				if in[i] != nil {
					sum += rx.ofContent(r, in[i])
				}
			}
			return sum <= r.cap
		}
		without, with := cr.parts(rx)
		found := 0
		for n := range without {
			if fits(&without[n]) && !slices.ContainsFunc(with[:n], func(r resource) bool { return !fits(&r) }) {
				found++
				parted[n]++
			}
		}
		want := 1
		if more && (cr.runs == 0 || runs <= int64(cr.runs)) {
			want = 0
			crowded++
		}
		if found != want {
			t.Fatalf("%d runs and rolls %v are in %d parts of the crowd %+v, not %d", runs, counts, found, cr, want)
		}
	}
	if crowded < 50 || parted[0] < 50 || parted[1] < 50 || parted[2] < 10 {
		t.Errorf("crowded %d times, by part %v", crowded, parted)
	}
}
