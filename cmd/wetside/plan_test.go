package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"wetside/scheduling/planner"
)

// week is the small invented week that package checker's tests use too.
const week = "../../scheduling/planner/checker/testdata/problem.json"

func contents(t *testing.T, name string) string {
	t.Helper()
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// keep writes a file for the test's time and gives its name.
func keep(t *testing.T, name, text string) string {
	t.Helper()
	name = filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return name
}

func TestPlanIsOneThatCheckAccepts(t *testing.T) {
	t.Parallel()
	got := wetside(t, contents(t, week), "plan")
	if got.code != 0 || got.stderr != "" {
		t.Fatalf("exit code %d: %s", got.code, got.stderr)
	}
	var plan planner.Plan
	if err := json.Unmarshal([]byte(got.stdout), &plan); err != nil {
		t.Fatal(err)
	}
	if len(plan.Batches) == 0 || !strings.Contains(got.stdout, "\n  \"batches\": [\n") {
		t.Errorf("no batches, or not indented: %s", got.stdout)
	}
	check := wetside(t, "", "check", week, keep(t, "plan.json", got.stdout))
	if check.code != 0 || check.stderr != "" || !strings.HasPrefix(check.stdout, "plan keeps every rule: ") {
		t.Errorf("exit code %d: %s%s", check.code, check.stdout, check.stderr)
	}
	piped := wetside(t, got.stdout, "check", week, "-")
	if piped != check {
		t.Errorf("from a file %v, from standard input %v", check, piped)
	}
}

func TestPlanIsTheSameAgain(t *testing.T) {
	t.Parallel()
	first := wetside(t, contents(t, week), "plan", "--seed", "7", "--budget", "1m")
	again := wetside(t, contents(t, week), "plan", "--seed", "7", "--budget", "1m")
	if first != again {
		t.Errorf("first %v, then %v", first, again)
	}
}

func TestPlanTracesOnStandardError(t *testing.T) {
	t.Parallel()
	got := wetside(t, contents(t, week), "plan", "--trace")
	if got.code != 0 || !strings.HasPrefix(got.stderr, "step 0: displaced ") || !strings.Contains(got.stderr, ", changes ") {
		t.Errorf("exit code %d, trace %q", got.code, got.stderr)
	}
	if !json.Valid([]byte(got.stdout)) {
		t.Errorf("the trace spoils the plan: %s", got.stdout)
	}
}

func TestPlanTellsFaultsOneALine(t *testing.T) {
	t.Parallel()
	spoilt := strings.NewReplacer(
		`"class": "c41-p", "area_mm2": 51613`, `"class": "e6", "area_mm2": -1`,
	).Replace(contents(t, week))
	got := wetside(t, spoilt, "plan")
	if got.code != 2 || got.stdout != "" {
		t.Errorf("exit code %d, output %q", got.code, got.stdout)
	}
	lines := strings.Split(strings.TrimSuffix(got.stderr, "\n"), "\n")
	if len(lines) != 2 || !strings.HasPrefix(lines[0], "/rolls/13/class: ") || !strings.HasPrefix(lines[1], "/rolls/13/area_mm2: ") {
		t.Errorf("faults %q", lines)
	}
}

func TestPlanRefusesWhatIsNotAProblem(t *testing.T) {
	t.Parallel()
	tests := map[string]struct{ stdin, says string }{
		"nothing":          {"", "EOF"},
		"no JSON":          {"batch them all", "invalid character"},
		"an unknown field": {`{"haste": true}`, `unknown field "haste"`},
		"two problems":     {"{} {}", "more follows"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got := wetside(t, tt.stdin, "plan")
			if got.code != 2 || got.stdout != "" || !strings.Contains(got.stderr, tt.says) {
				t.Errorf("exit code %d, output %q, error %q", got.code, got.stdout, got.stderr)
			}
		})
	}
}
