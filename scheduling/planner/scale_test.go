package planner_test

import (
	"flag"
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

var scaleWeeks = flag.String("scale", "", "weeks to plan by TestScale for 30 s each, as rolls:tanks:sessions, with commas between; a few small ones for 2 s when empty")

// A size is that of a generated week.
type size struct{ rolls, tanks, sessions int }

func (s size) week() *planner.Problem {
	return coop{rolls: s.rolls, tanks: s.tanks, sessions: s.sessions, bookings: 50}.week(1)
}

// TestScale prints, by size of the week, the processor time to the first plan
// and to the proof of each level, how far off the plan may be after 1, 5 and
// 30 s, and the most memory that the process held.
func TestScale(t *testing.T) {
	sizes := []size{{40, 2, 9}, {80, 3, 13}}
	budget := 2 * time.Second
	if *scaleWeeks != "" {
		sizes, budget = readSizes(t, *scaleWeeks), 30*time.Second
	}
	for _, s := range sizes {
		p := s.week()
		if *scaleWeeks != "" {
			p.Search.Iterations = 1_000_000
		}
		c := follow(t, p, budget)
		for _, v := range checker.Check(p, c.plan) {
			t.Errorf("%d rolls: %s", s.rolls, v)
		}
		line := fmt.Sprintf("planner rolls %4d tanks %d sessions %2d: first valid %.2f s; proved: %s; gap down to runs/of all levels",
			s.rolls, s.tanks, s.sessions, c.first().Seconds(), c.proofs())
		for _, n := range []int{1, 5, 30} {
			line += fmt.Sprintf(" %d s %s", n, c.gaps(time.Duration(n)*time.Second))
		}
		fmt.Fprintf(os.Stdout, "%s; memory %d MB; %s\n", line, c.peak>>20, levels(c.plan))
	}
}

// readSizes reads rolls:tanks:sessions, with commas between.
func readSizes(t *testing.T, text string) []size {
	t.Helper()
	var out []size
	for _, one := range strings.Split(text, ",") {
		var n []int
		for _, f := range strings.Split(one, ":") {
			v, err := strconv.Atoi(f)
			if err != nil {
				t.Fatal(err)
			}
			n = append(n, v)
		}
		if len(n) != 3 {
			t.Fatalf("%q is not rolls:tanks:sessions", one)
		}
		out = append(out, size{n[0], n[1], n[2]})
	}
	return out
}
