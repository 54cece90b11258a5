package planner_test

import (
	"fmt"
	"runtime/debug"
	"runtime/metrics"
	"slices"
	"strings"
	"testing"
	"time"

	"wetside/scheduling/planner"
)

// A moment is where a search stood after some processor time.
type moment struct {
	at time.Duration
	planner.Progress
}

// A course is how the search for a plan went, by processor time.
type course struct {
	plan *planner.Plan
	took time.Duration
	seen []moment
	peak uint64 // bytes of memory held at most
}

// toRuns is how many levels there are down to runs: finish and changes are what
// is left to say when all that costs is settled.
const toRuns = 4

// follow plans within so much processor time and says how it went.
func follow(t testing.TB, p *planner.Problem, budget time.Duration) *course {
	t.Helper()
	c := &course{}
	debug.FreeOSMemory()
	stop := c.watchMemory()
	began := cpuTime()
	c.plan, c.took = solveWithin(t, p, budget, func(at planner.Progress) { c.seen = append(c.seen, moment{cpuTime() - began, at}) })
	stop()
	last := planner.Progress{Levels: values(c.plan)}
	for i, l := range c.plan.Levels {
		last.Bounds[i] = l.Bound
	}
	c.seen = append(c.seen, moment{min(c.took, budget), last})
	return c
}

// watchMemory keeps the peak up to date until it is stopped: all that the
// process holds, but for what it has given back.
func (c *course) watchMemory() (stop func()) {
	held := []metrics.Sample{{Name: "/memory/classes/total:bytes"}, {Name: "/memory/classes/heap/released:bytes"}}
	look := func() {
		metrics.Read(held)
		c.peak = max(c.peak, held[0].Value.Uint64()-held[1].Value.Uint64())
	}
	over, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		tick := time.NewTicker(20 * time.Millisecond)
		defer tick.Stop()
		for {
			look()
			select {
			case <-over:
				return
			case <-tick.C:
			}
		}
	}()
	return func() { close(over); <-done; look() }
}

// first is when there was a plan.
func (c *course) first() time.Duration { return c.seen[0].at }

// proved is when so many levels of the plan, from the first, were all proved;
// false where one of them is not.
func (c *course) proved(levels int) (time.Duration, bool) {
	final := c.seen[len(c.seen)-1]
	for _, m := range c.seen {
		open := false
		for i := range levels {
			open = open || m.Levels[i] != final.Levels[i] || m.Bounds[i] < m.Levels[i]
		}
		if !open {
			return m.at, true
		}
	}
	return 0, false
}

// gap is how far off its bound the plan may be after some time, the largest of
// so many levels from the first; false while there is no plan.
func (c *course) gap(after time.Duration, levels int) (float64, bool) {
	g, ok := 0.0, false
	for _, m := range c.seen {
		if m.at > after {
			break
		}
		g, ok = 0, true
		for i := range levels {
			g = max(g, gap(planner.Level{Value: m.Levels[i], Bound: m.Bounds[i]}))
		}
	}
	return g, ok
}

// gaps are those down to runs and of all levels, in words.
func (c *course) gaps(after time.Duration) string {
	down, ok := c.gap(after, toRuns)
	if !ok {
		return "no plan"
	}
	all, _ := c.gap(after, len(planner.LevelNames))
	return fmt.Sprintf("%.1f/%.1f %%", 100*down, 100*all)
}

// proofs says when each level was proved, under all above it.
func (c *course) proofs() string {
	var parts []string
	for i, name := range planner.LevelNames {
		at, ok := c.proved(i + 1)
		if !ok {
			return strings.Join(append(parts, name+" not"), ", ")
		}
		parts = append(parts, fmt.Sprintf("%s %.2f s", name, at.Seconds()))
	}
	return strings.Join(parts, ", ")
}

// median is that of times of which some are not known, longer than all others:
// −1 where it is one of these.
func median(known []time.Duration, unknown int) time.Duration {
	slices.Sort(known)
	if at := (len(known) + unknown) / 2; at < len(known) {
		return known[at]
	}
	return -1
}
