package planner_test

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

var growthWeeks = flag.Int("growth", 0, "how many weeks of each size to plan by TestGrowth for 10 s each; one for a quarter of a second when 0")

// A growth is a table of how planning takes longer as weeks grow in one way.
type growth struct {
	by    string
	sizes []int
	week  func(n int, seed uint64) *planner.Problem
}

// growths are the tables: rolls with sessions and tanks to serve them, and tanks
// and sessions by themselves.
func growths() []growth {
	return []growth{
		{"rolls", []int{20, 40, 60, 80, 100, 120}, servable},
		{"tanks", []int{2, 3, 4}, func(n int, seed uint64) *planner.Problem {
			return coop{rolls: 80, tanks: n, sessions: 13, bookings: 50}.week(seed)
		}},
		{"sessions", []int{11, 13, 15, 17}, func(n int, seed uint64) *planner.Problem {
			return coop{rolls: 80, tanks: 2 + rand.New(rand.NewPCG(seed, 5)).IntN(3), sessions: n, bookings: 50}.week(seed)
		}},
	}
}

// TestGrowth prints, for weeks that grow, how long the proof of every level
// takes and how many have it in time. Every plan is checked.
func TestGrowth(t *testing.T) {
	weeks, soon, late := *growthWeeks, 2*time.Second, 10*time.Second
	if weeks == 0 {
		weeks, soon, late = 1, 50*time.Millisecond, 250*time.Millisecond
	}
	var out strings.Builder
	for _, g := range growths() {
		fmt.Fprintf(&out, "\n| %s | weeks | proved in %g s | in %g s | median | worst | down to runs in %g s | in %g s | mean gap to runs |\n",
			g.by, soon.Seconds(), late.Seconds(), soon.Seconds(), late.Seconds())
		fmt.Fprintln(&out, "| ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |")
		for _, n := range g.sizes {
			row := growthRow{soon: soon, late: late}
			for seed := range uint64(weeks) {
				p := g.week(n, seed+1)
				c := follow(t, p, late)
				for _, v := range checker.Check(p, c.plan) {
					t.Errorf("%d %s, week %d: %s", n, g.by, seed+1, v)
				}
				row.add(c)
			}
			fmt.Fprintf(&out, "| %d %s\n", n, row.cells())
		}
	}
	t.Log(out.String())
}

// A growthRow is what came of weeks of one size.
type growthRow struct {
	soon, late     time.Duration
	weeks          int
	all, down      []time.Duration // to the proof of every level, and down to runs
	allNow, runNow int             // proved soon
	gap            float64
}

func (r *growthRow) add(c *course) {
	r.weeks++
	if at, ok := c.proved(len(planner.LevelNames)); ok {
		r.all = append(r.all, at)
		if at <= r.soon {
			r.allNow++
		}
	}
	if at, ok := c.proved(toRuns); ok {
		r.down = append(r.down, at)
		if at <= r.soon {
			r.runNow++
		}
	}
	g, _ := c.gap(c.took, toRuns)
	r.gap += g
}

// cells are the row's, but for the first.
func (r *growthRow) cells() string {
	show := func(d time.Duration) string {
		if d < 0 {
			return "not proved"
		}
		return fmt.Sprintf("%.2f s", d.Seconds())
	}
	worst := time.Duration(-1)
	mid := median(r.all, r.weeks-len(r.all))
	if len(r.all) == r.weeks {
		worst = r.all[len(r.all)-1]
	}
	return fmt.Sprintf("| %d | %d | %d | %s | %s | %d | %d | %.1f %% |", r.weeks, r.allNow, len(r.all), show(mid), show(worst),
		r.runNow, len(r.down), 100*r.gap/float64(r.weeks))
}
