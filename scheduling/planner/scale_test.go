package planner_test

import (
	"flag"
	"fmt"
	"os"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"wetside/scheduling/planner"
)

var scaleWeeks = flag.String("scale", "", "weeks to plan by TestScale, as rolls:tanks:sessions, with commas between; a few small ones when empty")

// A moment is where a search stood after some processor time.
type moment struct {
	at time.Duration
	planner.Progress
}

// within is how far off its bounds a plan may be after some time: the largest
// gap of the levels down to runs, and that of all; −1 where there was none yet.
func within(seen []moment, after time.Duration) (toRuns, all float64) {
	toRuns, all = -1, -1
	for _, m := range seen {
		if m.at > after {
			break
		}
		toRuns, all = 0, 0
		for i, value := range m.Levels {
			g := gap(planner.Level{Value: value, Bound: m.Bounds[i]})
			if all = max(all, g); i < 4 {
				toRuns = max(toRuns, g)
			}
		}
	}
	return toRuns, all
}

// TestScale prints, by size of the week, the processor time to the first plan
// and to proof, how far off the plan may be after 1, 5 and 30 s, and the memory.
func TestScale(t *testing.T) {
	sizes := *scaleWeeks
	if sizes == "" {
		sizes = "40:2:9,80:3:13"
	}
	for _, size := range strings.Split(sizes, ",") {
		var n []int
		for _, f := range strings.Split(size, ":") {
			v, err := strconv.Atoi(f)
			if err != nil {
				t.Fatal(err)
			}
			n = append(n, v)
		}
		p := coop{rolls: n[0], tanks: n[1], sessions: n[2], bookings: 50}.week(1)
		budget := 2 * time.Second
		if *scaleWeeks != "" {
			budget = 30 * time.Second
			p.Search.Iterations = 1_000_000
		}
		var seen []moment
		runtime.GC()
		began := cpuTime()
		plan, took := solveWithin(t, p, budget, func(at planner.Progress) { seen = append(seen, moment{cpuTime() - began, at}) })
		proved := "not proved"
		if !slices.ContainsFunc(plan.Levels, func(l planner.Level) bool { return !l.Proved() }) {
			proved = fmt.Sprintf("proved %.2f s", took.Seconds())
		}
		var mem runtime.MemStats
		runtime.ReadMemStats(&mem)
		line := fmt.Sprintf("planner rolls %4d tanks %d sessions %2d: first valid %.2f s, %s, gap down to runs/of all levels", n[0], n[1], n[2], seen[0].at.Seconds(), proved)
		for _, s := range []int{1, 5, 30} {
			a, b := within(seen, time.Duration(s)*time.Second)
			line += fmt.Sprintf(" %d s %.1f/%.1f %%", s, 100*a, 100*b)
		}
		fmt.Fprintf(os.Stdout, "%s, memory %d MB, %s\n", line, mem.Sys>>20, levels(plan))
	}
}
