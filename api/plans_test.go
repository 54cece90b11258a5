package api_test

import (
	"encoding/json"
	"net/http"
	"testing"

	"wetside/api/apitest"
	"wetside/scheduling"
	"wetside/scheduling/planner"
)

const badSpan = `"from":"2026-11-25T09:00:00Z","until":"2026-11-28T00:00:00Z"`

// Who asks for events hears how a search goes, and then has the plan.
func TestPlanningTellsHowItGoes(t *testing.T) {
	t.Parallel()
	b := newMixedLab(t, apitest.Start(t))
	heard := b.ListenTo(b.Path("plan-searches"), `{`+badSpan+`}`)
	progress := 0
	for {
		e, ok := heard.Next()
		if !ok {
			t.Fatalf("the stream ended after %d events of progress, without a plan", progress)
		}
		if e.Name == "progress" {
			var at planner.Progress
			if err := json.Unmarshal([]byte(e.Data), &at); err != nil {
				t.Fatal(err)
			}
			progress++
			continue
		}
		var plan scheduling.Plan
		if err := json.Unmarshal([]byte(e.Data), &plan); err != nil || e.Name != "plan" || plan.ID != e.ID {
			t.Fatalf("event %+v: %v", e, err)
		}
		if stored := apitest.As[scheduling.Plan](b.Get(b.Path("plans", plan.ID)).Want(http.StatusOK)); len(stored.Batches) != len(plan.Batches) {
			t.Errorf("told %d batches, stored %d", len(plan.Batches), len(stored.Batches))
		}
		break
	}
	if progress == 0 {
		t.Error("no progress was told")
	}
	// What cannot be is a problem, as without events.
	b.Post(b.Path("plan-searches"), `{"from":"2026-11-25T09:00:00Z","until":"2026-11-25T09:00:00Z"}`).WantProblem(422, "invalid")
}

func TestTrialsAndGainsByHTTP(t *testing.T) {
	t.Parallel()
	b := newMixedLab(t, apitest.Start(t))
	out := apitest.As[scheduling.TriedPlan](b.Post(b.Path("plan-trials"), `{`+badSpan+`,"without":{"tanks":["`+b.tank+`"]}}`).Want(http.StatusOK))
	if len(out.Plan.Batches) != 0 || len(out.Plan.LeftOut) == 0 || len(out.Difference.Moves) == 0 {
		t.Errorf("without the tank: %+v", out)
	}
	none := "tank_00000000000000000000000000000000"
	b.Post(b.Path("plan-trials"), `{`+badSpan+`,"without":{"tanks":["`+none+`"]}}`).WantProblem(422, "invalid")
	b.Post(b.Path("plan-trials"), `{`+badSpan+`,"haste":true}`).WantProblem(400, "malformed")

	plan := b.Post(b.Path("plans"), `{`+badSpan+`,"iterations":200}`).Want(http.StatusCreated)
	gains := apitest.As[scheduling.PlanGains](b.Get(plan.Header("Location") + "/gains").Want(http.StatusOK))
	if !gains.Complete || len(gains.Gains) == 0 {
		t.Errorf("gains: %+v", gains)
	}
}
