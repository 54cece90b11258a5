package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"wetside/api"
	"wetside/api/apitest"
	"wetside/scheduling/planner"
)

// runDemoOn runs "wetside demo" against a server and gives what it prints.
func runDemoOn(t *testing.T, url string, options ...string) string {
	t.Helper()
	var out, log strings.Builder
	env := []string{"WETSIDE_URL=" + url, "WETSIDE_SETUP_CODE=" + apitest.SetupCode}
	if code := run(t.Context(), append([]string{"demo"}, options...), env, strings.NewReader(""), &out, &log); code != 0 {
		t.Fatalf("exit code %d\n%s", code, log.String())
	}
	return out.String()
}

// TestDemo loads the demo once, which takes a while under the race detector.
func TestDemo(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	saved := t.TempDir()
	first := runDemoOn(t, s.URL, "--save", saved)
	t.Run("prints what a steward needs", func(t *testing.T) { readable(t, first) })
	t.Run("prints the same week again", func(t *testing.T) { sameWeek(t, first, runDemoOn(t, s.URL)) })
	t.Run("has its plan judged by check", func(t *testing.T) { judged(t, saved) })
}

func readable(t *testing.T, first string) {
	for _, part := range []string{"LEFT OUT", "WORTH", "PLACES", "BATHS", "A BATH'S ANSWER", "TO MIX", "A CINE LOAD", "CLOSED KIT", "WHO OWES WHAT", "TOLD NO", "A RUN SHEET", "TRACE of a spoiled roll", "WASTE, by month", "SIGN IN"} {
		if !strings.Contains(first, "\n"+part) {
			t.Errorf("nothing is printed of %s", part)
		}
	}
	for _, line := range strings.Split(first, "\n") {
		if n := utf8.RuneCountInString(line); n > 100 {
			t.Errorf("a line of %d columns: %s", n, line)
		}
	}
	if ids := regexp.MustCompile(`\b(roll|session|kit|bath|bathset|member|tank|cabinet|batch)_[0-9a-f]{32}`).FindString(first); ids != "" {
		t.Errorf("an id is printed where a name was meant: %s", ids)
	}
}

func sameWeek(t *testing.T, first, second string) {
	week := func(text string) string {
		head, _, _ := strings.Cut(text, "\nWORTH")
		return head
	}
	if week(first) != week(second) {
		t.Errorf("the second run prints another week:\n%s\nnot\n%s", week(second), week(first))
	}
}

func TestDemoSaysWhatItNeeds(t *testing.T) {
	t.Parallel()
	var out, log strings.Builder
	if code := run(t.Context(), []string{"demo", "extra"}, nil, strings.NewReader(""), &out, &log); code != 2 {
		t.Errorf("exit code %d for an argument", code)
	}
	s := apitest.Start(t, func(c *api.Config) { c.Trial = false })
	if code := run(t.Context(), []string{"demo", "--url", s.URL, "--setup-code", apitest.SetupCode}, nil, strings.NewReader(""), &out, &log); code != 1 {
		t.Errorf("exit code %d where it is no trial", code)
	}
	if !strings.Contains(log.String(), "does not run as a trial") {
		t.Errorf("said %s", log.String())
	}
}

// A spoiler breaks a plan of the demo's week by one rule.
type spoiler func(t *testing.T, p *planner.Problem, plan *planner.Plan)

// spoilers break each of the eight rules, in the order of their numbers.
var spoilers = []spoiler{
	func(t *testing.T, p *planner.Problem, plan *planner.Plan) { // 1 class
		from := batchOf(t, plan, func(b planner.Batch) bool { return b.Process == "c-41" && len(b.Rolls) > 1 })
		to := batchOf(t, plan, func(b planner.Batch) bool { return b.Process == "reversal-6" })
		to.Rolls = append(to.Rolls, from.Rolls[0])
		from.Rolls = from.Rolls[1:]
	},
	func(_ *testing.T, _ *planner.Problem, plan *planner.Plan) { plan.Batches[0].Reels[0].Count++ }, // 2 fit
	func(t *testing.T, p *planner.Problem, plan *planner.Plan) { // 3 capacity
		b := batchOf(t, plan, func(b planner.Batch) bool { return b.Process == "reversal-6" })
		for i, bath := range p.Baths {
			if slices.Contains(setOf(p, b.BathSet).Baths, bath.ID) && bath.AreaLeftMM2 != nil {
				*p.Baths[i].AreaLeftMM2 = 1000
			}
		}
	},
	func(t *testing.T, p *planner.Problem, plan *planner.Plan) { // 4 life
		b := batchOf(t, plan, func(b planner.Batch) bool { return b.Process == "reversal-6" })
		move(b, 3*24*time.Hour)
		for _, e := range p.Sessions {
			if e.Tank == b.Tank && !b.Start.Before(e.Start) && b.Start.Before(e.End) {
				b.Session = e.ID
			}
		}
	},
	func(t *testing.T, p *planner.Problem, _ *planner.Plan) { // 5 reels
		for i := range p.Reels {
			if p.Reels[i].Kind == "spiral-8" {
				p.Reels[i].Count = 1
			}
		}
	},
	func(_ *testing.T, _ *planner.Problem, plan *planner.Plan) { move(&plan.Batches[0], -time.Minute) }, // 6 time
	func(_ *testing.T, p *planner.Problem, _ *planner.Plan) { p.Cabinets[0].Positions = 9 },             // 7 drying
	func(_ *testing.T, _ *planner.Problem, plan *planner.Plan) { plan.LeftOut = plan.LeftOut[1:] },      // 8 holds
}

func batchOf(t *testing.T, plan *planner.Plan, so func(planner.Batch) bool) *planner.Batch {
	t.Helper()
	at := slices.IndexFunc(plan.Batches, so)
	if at < 0 {
		t.Fatal("the demo's plan has no such batch")
	}
	return &plan.Batches[at]
}

func setOf(p *planner.Problem, id string) planner.BathSet {
	return p.BathSets[slices.IndexFunc(p.BathSets, func(s planner.BathSet) bool { return s.ID == id })]
}

// move shifts a batch in time.
func move(b *planner.Batch, by time.Duration) {
	for _, at := range []*time.Time{&b.Start, &b.Wet, &b.End, &b.Clear} {
		*at = at.Add(by)
	}
	for i := range b.Rolls {
		b.Rolls[i].DryAt = b.Rolls[i].DryAt.Add(by)
	}
}

// judged wants check to accept the plan saved in dir, and to refuse it broken
// by any one rule.
func judged(t *testing.T, dir string) {
	files := []string{filepath.Join(dir, "problem.json"), filepath.Join(dir, "plan.json")}
	if got := wetside(t, "", append([]string{"check"}, files...)...); got.code != 0 || !strings.Contains(got.stdout, "plan keeps every rule") {
		t.Fatalf("exit code %d: %s%s", got.code, got.stdout, got.stderr)
	}
	for i, spoil := range spoilers {
		rule := i + 1
		var p planner.Problem
		var plan planner.Plan
		readJSON(t, files[0], &p)
		readJSON(t, files[1], &plan)
		spoil(t, &p, &plan)
		got := wetside(t, "", "check", writeJSON(t, "problem.json", p), writeJSON(t, "plan.json", plan))
		if want := regexp.MustCompile(`(?m)^rule ` + strconv.Itoa(rule) + ` `); got.code != 1 || !want.MatchString(got.stdout) {
			t.Errorf("rule %d broken: exit code %d, said %s%s", rule, got.code, got.stdout, got.stderr)
		}
	}
}

func readJSON(t *testing.T, file string, into any) {
	t.Helper()
	text, err := os.ReadFile(file)
	if err == nil {
		err = json.Unmarshal(text, into)
	}
	if err != nil {
		t.Fatal(err)
	}
}

func writeJSON(t *testing.T, name string, v any) (file string) {
	t.Helper()
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return keep(t, name, string(text))
}
