package openapi_test

import (
	"bytes"
	"encoding/json"
	"testing"

	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

// exampleOf decodes a schema's first example strictly into the program's type.
func exampleOf[T any](t *testing.T, schema string) T {
	t.Helper()
	text, err := json.Marshal(examplesOf(document(t).Components.Schemas[schema])[0])
	if err != nil {
		t.Fatal(err)
	}
	var v T
	dec := json.NewDecoder(bytes.NewReader(text))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&v); err != nil {
		t.Fatalf("%s: %v", schema, err)
	}
	return v
}

func TestPlanExampleKeepsEveryRule(t *testing.T) {
	t.Parallel()
	problem := exampleOf[planner.Problem](t, "PlanningProblem")
	if faults := problem.Validate(); len(faults) > 0 {
		t.Fatal(faults)
	}
	plan := exampleOf[planner.Plan](t, "PlanFound")
	for _, v := range checker.Check(&problem, &plan) {
		t.Error(v)
	}
}
