package planner_test

import (
	"fmt"
	"testing"
	"time"
)

// BenchmarkSolve plans generated weeks of 40 to 1,000 rolls, for 30 s of
// processor time each or until every level is proved, and gives, of processor
// time, when there was a plan and when each level was proved under all above it;
// how far off its bound the plan may be after 1, 5 and 30 s, the largest of the
// levels down to runs and at the end each by itself; and the most memory held. A
// level that is not proved has no time.
func BenchmarkSolve(b *testing.B) {
	for _, s := range []size{{40, 2, 9}, {80, 3, 13}, {200, 4, 30}, {1000, 8, 60}} {
		b.Run(fmt.Sprintf("rolls=%d", s.rolls), func(b *testing.B) {
			var c *course
			for b.Loop() {
				p := s.week()
				p.Search.Iterations = 1_000_000
				c = follow(b, p, 30*time.Second)
			}
			b.ReportMetric(c.first().Seconds(), "s-to-plan")
			for _, n := range []int{1, 5, 30} {
				if g, ok := c.gap(time.Duration(n)*time.Second, toRuns); ok {
					b.ReportMetric(100*g, fmt.Sprintf("%%-gap-at-%ds", n))
				}
			}
			for i, l := range c.plan.Levels {
				if at, ok := c.proved(i + 1); ok {
					b.ReportMetric(at.Seconds(), "s-to-prove-"+l.Name)
				}
				b.ReportMetric(100*gap(l), "%-gap-"+l.Name)
			}
			b.ReportMetric(float64(c.peak>>20), "MB")
		})
	}
}
