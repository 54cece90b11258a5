package planner_test

import (
	"context"
	"flag"
	"fmt"
	"os"
	"strings"
	"syscall"
	"testing"
	"text/tabwriter"
	"time"

	"wetside/lab/units"
	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

var (
	weeksCount  = flag.Int("weeks", 4, "how many generated weeks of each kind to plan")
	weeksFirst  = flag.Uint64("weeks-first", 1, "the first week's number")
	weeksRolls  = flag.Int("weeks-rolls", 80, "rolls of a generated week that can be served")
	weeksBudget = flag.Duration("weeks-budget", 2*time.Second, "time for each")
	weeksSteps  = flag.Int64("weeks-steps", 0, "steps of improvement for each; 0: as many as there are by default")
	weeksSeed   = flag.Int64("weeks-seed", 1, "the seed of the search")
	weeksKind   = flag.String("weeks-kind", "", "only this kind")
)

// A tally is what came of some weeks.
type tally struct {
	weeks, proved int
	byLevel       [6]int
	gap           [6]float64
	took          []time.Duration
}

// cpuTime is what the process has used of the processors so far.
func cpuTime() time.Duration {
	var use syscall.Rusage
	_ = syscall.Getrusage(syscall.RUSAGE_SELF, &use)
	return time.Duration(use.Utime.Nano() + use.Stime.Nano())
}

// gap is how far a level may be from its best, of its value.
func gap(l planner.Level) float64 {
	if l.Proved() {
		return 0
	}
	return float64(l.Value-l.Bound) / float64(max(l.Value, 1))
}

func (ta *tally) add(plan *planner.Plan, took time.Duration) {
	ta.weeks++
	ta.took = append(ta.took, took)
	all := true
	for i, l := range plan.Levels {
		if l.Proved() {
			ta.byLevel[i]++
		}
		all = all && l.Proved()
		ta.gap[i] += gap(l)
	}
	if all {
		ta.proved++
	}
}

// TestWeeks plans generated weeks and prints, by kind of week and level, how
// many are proved and how far off the others may be. Every plan is checked.
func TestWeeks(t *testing.T) {
	kinds := []struct {
		name string
		make func(int, uint64) *planner.Problem
	}{{"servable", servable}, {"overloaded", overloaded}}
	var out strings.Builder
	w := tabwriter.NewWriter(&out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintf(w, "week\trolls\tweeks\tall proved\t%s\tmean time\tworst\t\n", strings.Join(planner.LevelNames[:], "\t"))
	for _, kind := range kinds {
		if *weeksKind != "" && *weeksKind != kind.name {
			continue
		}
		ta, rolls := tally{}, 0
		for n := range *weeksCount {
			seed := *weeksFirst + uint64(n)
			p := kind.make(*weeksRolls, seed)
			rolls = len(p.Rolls)
			p.Search.Iterations, p.Search.Seed = *weeksSteps, *weeksSeed
			plan, took := solveWithin(t, p, *weeksBudget, nil)
			for _, v := range checker.Check(p, plan) {
				t.Errorf("week %d: %s", seed, v)
			}
			ta.add(plan, took)
			if testing.Verbose() {
				fmt.Fprintf(os.Stderr, "%s %d: %2d tanks %2d sessions, %s; left out %d, complete %v, %.2f s\n", kind.name, seed, len(p.Tanks), len(p.Sessions), levels(plan), len(plan.LeftOut), plan.Complete, took.Seconds())
			}
		}
		fmt.Fprintf(w, "%s\t%d\t%d\t%d\t", kind.name, rolls, ta.weeks, ta.proved)
		var sum, worst time.Duration
		for _, d := range ta.took {
			sum += d
			worst = max(worst, d)
		}
		for i := range planner.LevelNames {
			fmt.Fprintf(w, "%d, gap %.1f %%\t", ta.byLevel[i], 100*ta.gap[i]/float64(ta.weeks))
		}
		fmt.Fprintf(w, "%.2f s\t%.2f s\t\n", sum.Seconds()/float64(max(ta.weeks, 1)), worst.Seconds())
	}
	_ = w.Flush()
	t.Log("\n" + out.String())
}

// solveWithin plans in so much processor time at most, however busy the machine.
func solveWithin(t testing.TB, p *planner.Problem, budget time.Duration, progress func(planner.Progress)) (*planner.Plan, time.Duration) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	began := cpuTime()
	go func() {
		for ctx.Err() == nil && cpuTime()-began < budget {
			time.Sleep(2 * time.Millisecond)
		}
		cancel()
	}()
	p.Search.Budget = units.Hour
	plan, err := planner.Solve(ctx, p, progress)
	if err != nil {
		t.Fatal(err)
	}
	return plan, cpuTime() - began
}

// levels is a plan's worth in a line: values, with the bound where they differ.
func levels(plan *planner.Plan) string {
	var parts []string
	for _, l := range plan.Levels {
		s := fmt.Sprintf("%s %d", l.Name, l.Value)
		if !l.Proved() {
			s += fmt.Sprintf(" ≥ %d", l.Bound)
		}
		parts = append(parts, s)
	}
	return strings.Join(parts, ", ")
}
