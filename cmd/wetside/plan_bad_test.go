package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"testing"
	"time"

	"wetside/scheduling/planner"
)

// evening is a problem in JSON of which %s stand for rolls, and what follows them.
const evening = `{
"horizon": {"start": "2026-03-02T12:00:00Z", "end": "2026-03-03T12:00:00Z"},
"tanks": [{"id": "tank", "height_mm": 200, "volume_ml": 1500, "reels": ["spiral"]}],
"reels": [{"kind": "spiral", "count": 4, "height_mm": 50, "solution_ml": 300}],
"cabinets": [{"id": "cabinet", "positions": 4, "drying": "PT2H", "takes": {"strip": 1}}],
"sessions": [
	{"id": "early", "tank": "tank", "start": "2026-03-02T17:00:00Z", "end": "2026-03-02T19:00:00Z", "operator": "op"},
	{"id": "late", "tank": "tank", "start": "2026-03-02T19:00:00Z", "end": "2026-03-02T21:00:00Z", "operator": "op"}],
"classes": [{"id": "n", "process": "c-41", "developing": "PT3M15S", "wet": "PT30M", "steps": [{"role": "developer", "begins": "PT0S"}]}],
"baths": [{"id": "bath", "role": "developer", "volume_ml": 1500}],
"bath_sets": [{"id": "set", "processes": ["c-41"], "baths": ["bath"]}],
"rolls": [%s]%s}`

func roll(id string) string {
	return fmt.Sprintf(`{"id": %q, "class": "n", "area_mm2": 51613, "reel": "spiral", "hang": "strip", "handed_in": "2026-03-01T12:00:00Z"}`, id)
}

// Whatever is wrong with a problem, the answer says what and where.
func TestPlanSaysWhatIsWrong(t *testing.T) {
	t.Parallel()
	sound := fmt.Sprintf(evening, roll("a"), "")
	changed := func(old, new string) string {
		if !strings.Contains(sound, old) {
			t.Fatalf("no %s to change", old)
		}
		return strings.Replace(sound, old, new, 1)
	}
	tests := map[string]struct {
		problem, says string
		args          []string
	}{
		"pins that contradict each other": {
			fmt.Sprintf(evening, roll("a"), `, "pins": [{"roll": "a", "session": "early"}, {"roll": "a", "session": "late"}]`),
			`/pins/1: pins roll "a" to session "late", /pins/0 holds it to "early"`, nil,
		},
		"a pin and a ban": {
			fmt.Sprintf(evening, roll("a"), `, "pins": [{"roll": "a", "session": "early"}], "bans": [{"roll": "a", "session": "early"}]`),
			`/bans/0: bans roll "a" from session "early", /pins/0 holds it there`, nil,
		},
		"an empty horizon":              {changed(`"end": "2026-03-03T12:00:00Z"`, `"end": "2026-03-02T12:00:00Z"`), "/horizon: is empty", nil},
		"no horizon":                    {`{}`, "/horizon: is empty", nil},
		"sessions that overlap":         {changed(`"start": "2026-03-02T19:00:00Z"`, `"start": "2026-03-02T18:59:59Z"`), `/sessions/1/start: overlaps session "early" of the same tank`, nil},
		"a tank of no height":           {changed(`"height_mm": 200`, `"height_mm": 0`), "/tanks/0/height_mm: is 0, want 1 to", nil},
		"a tank of no volume":           {changed(`"volume_ml": 1500`, `"volume_ml": 0`), "/tanks/0/volume_ml: is 0, want 1 to", nil},
		"a reel that is not":            {changed(`"reel": "spiral"`, `"reel": "cine"`), `/rolls/0/reel: no reel kind has the id "cine"`, nil},
		"a budget of less":              {changed(`"rolls"`, `"search": {"budget": "-PT1S"}, "rolls"`), "want an ISO 8601 duration", nil},
		"no budget on the line":         {sound, "--budget is 0s", []string{"--budget", "0"}},
		"a number too large":            {changed(`"area_mm2": 51613`, `"area_mm2": 99999999999999999999`), "area_mm2", nil},
		"a date that is none":           {changed(`2026-03-01T12:00:00Z`, `2026-02-30T12:00:00Z`), "2026-02-30", nil},
		"a session of a thousand years": {changed(`"end": "2026-03-02T21:00:00Z"`, `"end": "3026-03-02T21:00:00Z"`), "/sessions/1/end: is more than a hundred years", nil},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got := wetside(t, tt.problem, append([]string{"plan"}, tt.args...)...)
			if got.code != 2 || got.stdout != "" || !strings.Contains(got.stderr, tt.says) {
				t.Errorf("exit code %d, output %q, error %q, want %q in it", got.code, got.stdout, got.stderr, tt.says)
			}
		})
	}
}

// What a problem has none of keeps rolls out, and each is told so.
func TestPlanOfNothingToPlanWithSaysWhy(t *testing.T) {
	t.Parallel()
	tests := map[string]struct{ old, new, code string }{
		"no reels":                       {`"count": 4`, `"count": 0`, planner.ReasonReelKind},
		"a reel higher than any tank":    {`"height_mm": 50`, `"height_mm": 5000`, planner.ReasonTankHeight},
		"a reel that no tank takes":      {`"reels": ["spiral"]`, `"reels": []`, planner.ReasonReelKind},
		"a cabinet of no positions":      {`"positions": 4`, `"positions": 0`, planner.ReasonCabinet},
		"a bath of no volume":            {`"role": "developer", "volume_ml": 1500`, `"role": "developer", "volume_ml": 0`, planner.ReasonSolution},
		"a bath with no capacity left":   {`"role": "developer", "volume`, `"role": "developer", "area_left_mm2": 0, "volume`, planner.ReasonBathCapacity},
		"a bath with no run left":        {`"role": "developer", "volume`, `"role": "developer", "runs_left": 0, "volume`, planner.ReasonBathCapacity},
		"no baths":                       {`"baths": ["bath"]`, `"baths": []`, planner.ReasonNoBath},
		"sessions for another process":   {`"operator": "op"`, `"operator": "op", "processes": ["e-6"]`, planner.ReasonNoSession},
		"more film than the tank covers": {`"solution_ml": 300`, `"solution_ml": 1501`, planner.ReasonSolution},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			problem := strings.ReplaceAll(fmt.Sprintf(evening, roll("a"), ""), tt.old, tt.new)
			got := wetside(t, problem, "plan")
			var plan planner.Plan
			if err := json.Unmarshal([]byte(got.stdout), &plan); err != nil || got.code != 0 {
				t.Fatalf("exit code %d, %v: %s", got.code, err, got.stderr)
			}
			if len(plan.LeftOut) != 1 || len(plan.LeftOut[0].Reasons) == 0 {
				t.Fatalf("left out %v", plan.LeftOut)
			}
			for _, r := range plan.LeftOut[0].Reasons {
				if r.Code == tt.code {
					return
				}
			}
			t.Errorf("reasons %v, want %s", plan.LeftOut[0].Reasons, tt.code)
		})
	}
}

// A problem far too large is refused in moments: of a million rolls by their number.
func TestPlanRefusesAMillionRolls(t *testing.T) {
	t.Parallel()
	head, tail, _ := strings.Cut(fmt.Sprintf(evening, "~", ""), "~")
	text, write := io.Pipe()
	go func() {
		defer write.Close()
		w := bufio.NewWriter(write)
		defer w.Flush()
		fmt.Fprint(w, head)
		for i := range 1_000_000 {
			if i > 0 {
				fmt.Fprint(w, ",")
			}
			fmt.Fprintf(w, `{"id":"r%d","class":"n","area_mm2":1,"reel":"none","hang":"strip","handed_in":"2026-03-01T12:00:00Z"}`, i)
		}
		fmt.Fprint(w, tail)
	}()
	began := time.Now()
	var out, wrong strings.Builder
	code := run(t.Context(), []string{"plan"}, nil, text, &out, &wrong)
	if code != 2 || out.Len() > 0 || !strings.HasPrefix(wrong.String(), "/rolls: holds 1000000, want at most 5000\n") {
		t.Errorf("exit code %d, output %q, faults %.300q", code, out.String(), wrong.String())
	}
	if lines := strings.Count(wrong.String(), "\n"); lines > 100 {
		t.Errorf("%d faults told", lines)
	}
	t.Logf("refused after %.1f s", time.Since(began).Seconds())
}

// A budget of PT0S in a problem is none given: the search ends by itself.
func TestPlanWithABudgetOfNothing(t *testing.T) {
	t.Parallel()
	problem := strings.Replace(fmt.Sprintf(evening, roll("a"), ""), `"rolls"`, `"search": {"budget": "PT0S"}, "rolls"`, 1)
	got := wetside(t, problem, "plan")
	var plan planner.Plan
	if err := json.Unmarshal([]byte(got.stdout), &plan); err != nil || got.code != 0 || !plan.Complete || len(plan.Batches) != 1 {
		t.Errorf("exit code %d, %v, complete %v, %d batches", got.code, err, plan.Complete, len(plan.Batches))
	}
}

// Pins that clash only together are told with the plan.
func TestPlanSaysWhichPinsClashTogether(t *testing.T) {
	t.Parallel()
	pins := `, "pins": [{"roll": "a", "session": "early"}, {"roll": "b", "session": "early"}]`
	problem := strings.Replace(fmt.Sprintf(evening, roll("a")+","+roll("b"), pins), `"count": 4`, `"count": 1, "drying": "PT2H"`, 1)
	got := wetside(t, problem, "plan")
	var plan planner.Plan
	if err := json.Unmarshal([]byte(got.stdout), &plan); err != nil || got.code != 0 {
		t.Fatalf("exit code %d, %v: %s", got.code, err, got.stderr)
	}
	if len(plan.Clashes) != 1 || len(plan.Clashes[0].Holds) != 2 || !plan.Clashes[0].Smallest {
		t.Errorf("clashes %+v, want both pins", plan.Clashes)
	}
}
