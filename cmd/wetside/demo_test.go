package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"wetside/api"
	"wetside/api/apitest"
	"wetside/deploy/demo"
	"wetside/scheduling/planner"
)

// loadDemo runs "wetside demo" against a server of its own.
func loadDemo(t *testing.T) (url, printed string) {
	t.Helper()
	s := apitest.Start(t)
	return s.URL, runDemoOn(t, s.URL)
}

func runDemoOn(t *testing.T, url string) string {
	t.Helper()
	var out, log strings.Builder
	env := []string{"WETSIDE_URL=" + url, "WETSIDE_SETUP_CODE=" + apitest.SetupCode}
	if code := run(t.Context(), []string{"demo"}, env, strings.NewReader(""), &out, &log); code != 0 {
		t.Fatalf("exit code %d\n%s", code, log.String())
	}
	return out.String()
}

func TestDemoPrintsTheSameWeekAgain(t *testing.T) {
	t.Parallel()
	url, first := loadDemo(t)
	for _, part := range []string{"LEFT OUT", "WORTH", "PLACES", "BATHS", "CLOSED KIT", "WHO OWES WHAT", "TOLD NO", "A RUN SHEET", "SIGN IN"} {
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
	second := runDemoOn(t, url)
	week := func(text string) string {
		head, _, _ := strings.Cut(text, "\nWORTH")
		return head
	}
	if week(first) != week(second) {
		t.Errorf("the second run prints another week:\n%s\nnot\n%s", week(second), week(first))
	}
}

func TestDemoSaysWhatServerItNeeds(t *testing.T) {
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

func TestCheckJudgesTheDemosPlan(t *testing.T) {
	t.Parallel()
	url, _ := loadDemo(t)
	board, err := demo.Read(t.Context(), demo.Options{URL: url, SetupCode: apitest.SetupCode})
	if err != nil {
		t.Fatal(err)
	}
	var rules []int
	for range spoilers {
		rules = append(rules, len(rules)+1)
	}
	if code, said := checkPlan(t, board.Plan.Problem, &board.Plan.Plan); code != 0 || !strings.Contains(said, "plan keeps every rule") {
		t.Errorf("exit code %d: %s", code, said)
	}
	for i, rule := range rules {
		var p planner.Problem
		var plan planner.Plan
		again(t, board.Plan.Problem, &p)
		again(t, board.Plan.Plan, &plan)
		spoilers[i](t, &p, &plan)
		code, said := checkPlan(t, &p, &plan)
		if want := regexp.MustCompile(`(?m)^rule ` + string(rune('0'+rule)) + ` `); code != 1 || !want.MatchString(said) {
			t.Errorf("rule %d broken: exit code %d, said %s", rule, code, said)
		}
	}
}

// again copies by way of JSON.
func again(t *testing.T, from, to any) {
	t.Helper()
	text, err := json.Marshal(from)
	if err == nil {
		err = json.Unmarshal(text, to)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// checkPlan is "wetside check" of a problem and a plan.
func checkPlan(t *testing.T, p *planner.Problem, plan *planner.Plan) (code int, said string) {
	t.Helper()
	dir := t.TempDir()
	var files []string
	for name, v := range map[string]any{"1-problem.json": p, "2-plan.json": plan} {
		text, err := json.Marshal(v)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, filepath.Join(dir, name))
		if err := os.WriteFile(files[len(files)-1], text, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	slices.Sort(files)
	var out, log strings.Builder
	code = run(t.Context(), append([]string{"check"}, files...), nil, strings.NewReader(""), &out, &log)
	return code, out.String() + log.String()
}
