package planner_test

import (
	"encoding/json"
	"runtime"
	"testing"

	"wetside/scheduling/planner"
)

// record is a plan and all that was reported on the way to it, as text.
func record(t *testing.T, p *planner.Problem) (text string, complete bool) {
	t.Helper()
	var told struct {
		Progress []planner.Progress
		Plan     *planner.Plan
	}
	var err error
	told.Plan, err = planner.Solve(t.Context(), p, func(at planner.Progress) { told.Progress = append(told.Progress, at) })
	if err != nil {
		t.Fatal(err)
	}
	b, err := json.Marshal(told)
	if err != nil {
		t.Fatal(err)
	}
	return string(b), told.Plan.Complete
}

// burn keeps processors and the collector of garbage busy until it is stopped.
func burn(threads int) (stop func()) {
	over, done := make(chan struct{}), make(chan struct{})
	for range threads {
		go func() {
			defer func() { done <- struct{}{} }()
			var waste [][]byte
			for {
				select {
				case <-over:
					return
				default:
					waste = append(waste, make([]byte, 1<<12))
					if len(waste) > 1<<10 {
						waste = nil
					}
				}
			}
		}()
	}
	return func() {
		close(over)
		for range threads {
			<-done
		}
	}
}

// TestSolveIsDeterministic plans problems of every sort on one processor, and
// again on several that others use too: to the byte, the plan and all that is
// reported on the way are the same.
func TestSolveIsDeterministic(t *testing.T) {
	for _, s := range sundries() {
		t.Run(s.name, func(t *testing.T) {
			steps := s.steps
			if raceDetector || testing.Short() {
				steps = s.few
			}
			before := runtime.GOMAXPROCS(1)
			defer runtime.GOMAXPROCS(before)
			alone, complete := record(t, s.problem(steps))
			if !complete {
				t.Fatal("the clock ended the search")
			}
			runtime.GOMAXPROCS(max(4, before))
			stop := burn(2)
			busy, _ := record(t, s.problem(steps))
			stop()
			if busy != alone {
				t.Errorf("on a busy machine with several processors:\n%s\nby itself on one:\n%s", busy, alone)
			}
			t.Logf("%d bytes", len(alone))
		})
	}
}
