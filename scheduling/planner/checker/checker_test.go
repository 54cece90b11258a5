package checker_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

// load reads the small invented week in testdata and a plan for it that keeps
// every rule, many of them only just: what may touch touches, and what may be
// equal to a limit is.
func load(tb testing.TB) (*planner.Problem, *planner.Plan) {
	tb.Helper()
	var p planner.Problem
	var plan planner.Plan
	read(tb, "problem.json", &p)
	read(tb, "plan.json", &plan)
	return &p, &plan
}

func read(tb testing.TB, name string, into any) {
	tb.Helper()
	b, err := os.ReadFile(filepath.Join("testdata", name))
	if err != nil {
		tb.Fatal(err)
	}
	if err := json.Unmarshal(b, into); err != nil {
		tb.Fatalf("%s: %v", name, err)
	}
}

func TestCheckAcceptsAPlanThatOnlyJustKeepsEveryRule(t *testing.T) {
	t.Parallel()
	p, plan := load(t)
	for _, v := range checker.Check(p, plan) {
		t.Error(v)
	}
}

func TestCheckRefusesNothingToJudge(t *testing.T) {
	t.Parallel()
	p, plan := load(t)
	if got := checker.Check(nil, plan); len(got) != 1 || got[0].Rule != 0 {
		t.Errorf("no problem: %v", got)
	}
	if got := checker.Check(p, nil); len(got) != 1 || got[0].Rule != 0 {
		t.Errorf("no plan: %v", got)
	}
}

func TestViolationIsOneLine(t *testing.T) {
	t.Parallel()
	tests := map[string]struct {
		v    checker.Violation
		want string
	}{
		"of a batch": {
			checker.Violation{Rule: 2, Name: "fit", Batch: "b3", Detail: "reels stack to 212 mm, tank small-tank takes 180 mm"},
			"rule 2 fit: batch b3: reels stack to 212 mm, tank small-tank takes 180 mm",
		},
		"of a roll in a batch": {
			checker.Violation{Rule: 8, Name: "holds", Batch: "b1", Roll: "r7", Detail: "banned from the plan"},
			"rule 8 holds: batch b1: roll r7: banned from the plan",
		},
		"of the plan": {
			checker.Violation{Rule: 9, Name: "worth", Detail: "level runs: value 4 is claimed, it is 5"},
			"rule 9 worth: level runs: value 4 is claimed, it is 5",
		},
		"whatever an id holds": {
			checker.Violation{Rule: 0, Name: "shape", Batch: "b\n1", Detail: "it has no rolls"},
			`rule 0 shape: batch b\n1: it has no rolls`,
		},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			if got := tt.v.String(); got != tt.want {
				t.Errorf("got  %s\nwant %s", got, tt.want)
			}
		})
	}
}
