package checker_test

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"wetside/lab/units"
	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

// FuzzSolve holds that whatever text comes as a problem is refused with what is
// wrong with it, or planned by a plan that keeps every rule, in short time: it
// makes nothing panic or hang. Edits change values of the text, so that most of
// what is tried is a problem, only a strange one.
func FuzzSolve(f *testing.F) {
	good, err := os.ReadFile(filepath.Join("testdata", "problem.json"))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good, []byte{})
	for seed := range 24 {
		edits := make([]byte, 2*(seed+1))
		for i := range edits {
			edits[i] = byte(seed*89 + i*i*37 + i*11)
		}
		f.Add(good, edits)
		f.Add(dump(randomProblem(seededDice(uint64(seed)))), edits)
	}
	for _, seed := range []string{
		`null`, `{}`, `[]`, `{"horizon":{"start":"2026-03-02T00:00:00Z","end":"2026-03-02T00:00:00Z"}}`,
		`{"horizon":{"start":"2026-03-02T00:00:00Z","end":"2026-03-03T00:00:00Z"},"search":{"budget":"PT0S"}}`,
		`{"horizon":{"start":"0000-01-01T00:00:00Z","end":"9999-12-31T23:59:59Z"},"rolls":[{}]}`,
	} {
		f.Add([]byte(seed), []byte{})
	}
	f.Fuzz(func(t *testing.T, text, edits []byte) {
		p, err := planner.DecodeProblem(bytes.NewReader(edit(text, edits)))
		if err != nil {
			return
		}
		p.Search.Iterations = min(p.Search.Iterations, 20)
		if p.Search.Iterations == 0 {
			p.Search.Iterations = 20
		}
		p.Search.Budget = min(p.Search.Budget, units.Second)
		began := time.Now()
		plan, err := planner.Solve(t.Context(), p, nil)
		if took := time.Since(began); took > 20*time.Second {
			t.Errorf("it took %s", took)
		}
		var invalid *planner.InvalidError
		switch {
		case errors.As(err, &invalid):
			for _, fault := range invalid.Faults {
				if fault.Detail == "" {
					t.Errorf("the fault at %q says nothing", fault.Pointer)
				}
			}
			return
		case err != nil:
			t.Fatal(err)
		}
		for _, v := range checker.Check(p, plan) {
			t.Errorf("%s\n%s", v, dump(p))
		}
	})
}
