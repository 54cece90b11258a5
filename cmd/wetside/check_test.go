package main

import (
	"strings"
	"testing"
)

const weekPlan = "../../scheduling/planner/checker/testdata/plan.json"

func TestCheckAcceptsAGoodPlan(t *testing.T) {
	t.Parallel()
	got := wetside(t, "", "check", week, weekPlan)
	want := outcome{code: 0, stdout: "plan keeps every rule: 5 batches, 13 rolls placed, 2 left out\n"}
	if got != want {
		t.Errorf("got %v, want %v", got, want)
	}
}

func TestCheckPrintsALineARuleBroken(t *testing.T) {
	t.Parallel()
	broken := strings.NewReplacer(
		`"clear": "2026-03-04T21:42:00Z"`, `"clear": "2026-03-04T21:41:00Z"`,
		`"value": 5, "bound": 4`, `"value": 4, "bound": 4`,
	).Replace(contents(t, weekPlan))
	got := wetside(t, broken, "check", week, "-")
	want := outcome{code: 1, stdout: "rule 6 time: batch b5: clear is 2026-03-04T21:41:00Z and should be 2026-03-04T21:42:00Z\n" +
		"rule 9 worth: level runs: value 4 is claimed, it is 5\n"}
	if got != want {
		t.Errorf("got %v, want %v", got, want)
	}
}

func TestCheckRefusesFilesItCannotRead(t *testing.T) {
	t.Parallel()
	tests := map[string]struct {
		problem, plan string
		says          string
	}{
		"no problem":             {"nowhere.json", weekPlan, "nowhere.json"},
		"no plan":                {week, "nowhere.json", "nowhere.json"},
		"a plan for a problem":   {weekPlan, weekPlan, "unknown field"},
		"a problem for a plan":   {week, week, "unknown field"},
		"a plan cut short":       {week, keep(t, "short.json", `{"batches": [`), "short.json: reading a plan: "},
		"a plan and more":        {week, keep(t, "more.json", `{} {}`), "more follows"},
		"a problem with a fault": {keep(t, "empty.json", `{}`), weekPlan, "/horizon: "},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got := wetside(t, "", "check", tt.problem, tt.plan)
			if got.code != 2 || got.stdout != "" || !strings.Contains(got.stderr, tt.says) {
				t.Errorf("exit code %d, output %q, error %q", got.code, got.stdout, got.stderr)
			}
		})
	}
}
