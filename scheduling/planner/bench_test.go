package planner_test

import (
	"fmt"
	"testing"

	"wetside/scheduling/planner"
)

func BenchmarkSolve(b *testing.B) {
	for _, n := range []int{40, 80, 200} {
		b.Run(fmt.Sprintf("rolls=%d", n), func(b *testing.B) {
			p := week(n, 1)
			b.ReportAllocs()
			for b.Loop() {
				plan, err := planner.Solve(b.Context(), p, nil)
				if err != nil {
					b.Fatal(err)
				}
				for i, l := range plan.Levels {
					b.ReportMetric(float64(l.Value), fmt.Sprintf("level%d", i+1))
				}
			}
		})
	}
}
