package planner

import (
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
				want := soonestEnd(withoutHands(m), ld.usable, append(slices.Clone(held), 0), 0) <= g.finish
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
