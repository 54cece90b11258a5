package checker_test

import (
	"slices"
	"strings"
	"testing"

	"wetside/scheduling/planner/checker"
)

// A breach changes a week so that it breaks one clause of one rule.
type breach struct {
	rule int
	says string // part of a violation's line
	do   func(w *week)
}

func TestCheckFindsTheOneRuleBroken(t *testing.T) {
	t.Parallel()
	total := 0
	for _, table := range []map[string]breach{
		shapeBreaches, classBreaches, fitBreaches, capacityBreaches, lifeBreaches,
		reelBreaches, timeBreaches, dryingBreaches, holdBreaches, worthBreaches,
	} {
		total += len(table)
		for name, b := range table {
			t.Run(name, func(t *testing.T) {
				t.Parallel()
				w := newWeek(t)
				b.do(w)
				found := checker.Check(w.Problem, w.plan)
				if got := rules(found); !slices.Equal(got, []int{b.rule}) {
					t.Fatalf("rules %v broken, want only %d: %v", got, b.rule, found)
				}
				if !slices.ContainsFunc(found, func(v checker.Violation) bool { return strings.Contains(v.String(), b.says) }) {
					t.Errorf("nothing says %q: %v", b.says, found)
				}
			})
		}
	}
	if total < 35 {
		t.Errorf("%d breaches, too few for the rules' clauses", total)
	}
}

// What only touches does not overlap, and what equals a limit keeps it.
func TestCheckAllowsWhatIsJustInside(t *testing.T) {
	t.Parallel()
	tests := map[string]func(w *week){
		"a session that names no processes":           func(w *week) { w.session("mon-small").Processes = nil },
		"a pin to where the roll is":                  func(w *week) { w.Pins = append(w.Pins, hold("k1", "mon-small")) },
		"a ban from where the roll is not":            func(w *week) { w.Bans = append(w.Bans, hold("k1", "mon-big")) },
		"frozen film dry when the last position goes": func(w *week) { w.Frozen[0].End = at("02 17:42:00") },
		"a reel dry when it is loaded":                func(w *week) { w.reel("reel-35").Drying = duration("PT2H22M") },
		"a second user once the kit is mixed":         func(w *week) { w.besideWednesday(at("04 17:40:00")) },
		"a horizon from the first start": func(w *week) {
			w.Horizon.Start = at("02 17:55:00")
			w.level("finish").Value -= 64500
		},
		"a horizon to the last clear": func(w *week) {
			w.Horizon.End = at("04 21:42:00")
			w.level("lateness").Value -= 8 // x1 is then left out before it is due
			w.level("lateness").Bound = 0
		},
		"a hand span of no time inside another's": func(w *week) {
			for i := range w.Classes {
				w.Classes[i].Hands = append(w.Classes[i].Hands, span("PT5M", "PT5M"))
			}
		},
		"unused area floored, not rounded":  func(w *week) { w.set("c41-old").WasteMinorPerM2 = 2009 },
		"a weight of nothing counts as one": func(w *week) { w.roll("s5").Weight = 1 },
		"days for rolls left out as given": func(w *week) {
			w.LeftOutDays = 20
			w.level("lateness").Value += 6 * (1 + 2)
		},
		"a previous place of a roll since gone": func(w *week) { w.Previous = append(w.Previous, hold("gone", "mon-big")) },
		"a roll left out as before":             func(w *week) { w.Previous = append(w.Previous, hold("s5", "")) },
		"a waste priced set that outlives the horizon": func(w *week) {
			w.set("bw-set").WasteMinorPerM2 = 1_000_000
		},
		"an instant in another zone": func(w *week) {
			b := w.batch("b1")
			b.Start = b.Start.In(elsewhere)
			b.Rolls[0].DryAt = b.Rolls[0].DryAt.In(elsewhere)
		},
	}
	for name, do := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			w := newWeek(t)
			do(w)
			for _, v := range checker.Check(w.Problem, w.plan) {
				t.Error(v)
			}
		})
	}
}
