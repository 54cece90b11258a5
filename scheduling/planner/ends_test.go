package planner_test

import (
	"context"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"sync/atomic"
	"testing"
	"time"

	"wetside/scheduling/planner"
)

var endsTried = flag.Int("ends", 12, "how many ends of time to try of each problem, beside the first dozen")

// An endingContext is over once it has been asked so often: at the same step of
// the work every time, on every machine.
type endingContext struct {
	context.Context
	left int64
}

func (c *endingContext) Err() error {
	if atomic.AddInt64(&c.left, -1) < 0 {
		return context.DeadlineExceeded
	}
	return nil
}

const endless = math.MaxInt64

// upTo draws a number below n, small ones as often as large ones.
func upTo(rng *rand.Rand, n int64) int64 {
	return int64(math.Exp(rng.Float64()*math.Log(float64(n+1)))) - 1
}

// TestSolveEndsAnywhere ends the search of problems of every sort at the first
// questions whether time is over, and at others. What it has by then is a plan,
// and proves nothing that another plan refutes.
func TestSolveEndsAnywhere(t *testing.T) {
	t.Parallel()
	for k, s := range sundries() {
		t.Run(s.name, func(t *testing.T) {
			t.Parallel()
			rng := rand.New(rand.NewPCG(uint64(k), 61))
			p := s.problem(s.few)
			held, tries := claimsOn(p), *endsTried
			whole := &endingContext{t.Context(), endless}
			held.add(t, solved(t, whole, p), "the whole search")
			asked := endless - whole.left
			if len(p.Rolls) > 150 || raceDetector {
				tries = (tries + 3) / 4
			}
			for end := range min(12, asked) {
				held.add(t, solved(t, &endingContext{t.Context(), end}, p), fmt.Sprint("end ", end))
			}
			for range tries {
				end := upTo(rng, asked)
				p.Search.Seed = int64(rng.IntN(3))
				plan := solved(t, &endingContext{t.Context(), end}, p)
				held.add(t, plan, fmt.Sprintf("end %d, seed %d", end, p.Search.Seed))
			}
		})
	}
}

// TestSolveEndsAtAnyTime is the same by the clock, within 1 to 200 ms: it asks
// in places that only count what they did, too.
func TestSolveEndsAtAnyTime(t *testing.T) {
	t.Parallel()
	for k, s := range sundries() {
		t.Run(s.name, func(t *testing.T) {
			t.Parallel()
			rng := rand.New(rand.NewPCG(uint64(k), 67))
			p := s.problem(s.few)
			held := claimsOn(p)
			for range (*endsTried + 3) / 4 {
				limit := time.Duration(1+upTo(rng, 200)) * time.Millisecond
				ctx, cancel := context.WithTimeout(t.Context(), limit)
				held.add(t, solved(t, ctx, p), limit.String())
				cancel()
			}
		})
	}
}

// TestQuestionsEndAnywhere is the same for what is asked beside a plan.
func TestQuestionsEndAnywhere(t *testing.T) {
	t.Parallel()
	for _, s := range sundries() {
		p := s.problem(s.few)
		if len(p.Rolls) > 60 {
			continue
		}
		rng := rand.New(rand.NewPCG(7, 71))
		plan := solved(t, t.Context(), p)
		for try := range int64(*endsTried) {
			ctx := &endingContext{t.Context(), try}
			if try%2 == 1 {
				ctx.left = upTo(rng, 2_000)
			}
			ok, fits, err := planner.Fits(ctx, p)
			if err != nil || ok != (fits.Levels[0].Value == 0) {
				t.Fatalf("%s: fits %v with %d displaced, %v", s.name, ok, fits.Levels[0].Value, err)
			}
			if bound := fits.Levels[0].Bound; bound > plan.Levels[0].Value {
				t.Errorf("%s: at least %d displaced, a plan has %d", s.name, bound, plan.Levels[0].Value)
			}
			gains, complete, err := planner.Gains(ctx, p, plan)
			if err != nil || complete && ctx.left < 0 {
				t.Errorf("%s: %d gains, complete %v, %v", s.name, len(gains), complete, err)
			}
			if _, err := planner.FindClash(ctx, p, p.Rolls[0].ID); err != nil {
				t.Error(s.name, err)
			}
		}
	}
}

// solved plans, and fails with whatever error there is.
func solved(t *testing.T, ctx context.Context, p *planner.Problem) *planner.Plan {
	t.Helper()
	plan, err := planner.Solve(ctx, p, nil)
	if err != nil {
		t.Fatal(err)
	}
	return plan
}
