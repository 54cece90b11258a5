package openapi_test

import (
	"bytes"
	"encoding/json"
	"reflect"
	"slices"
	"strings"
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

// fieldsOf are the JSON names of a struct's fields, and which may be left out.
func fieldsOf(typ reflect.Type) map[string]bool {
	fields := map[string]bool{}
	for _, f := range reflect.VisibleFields(typ) {
		name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		if f.IsExported() && name != "" && name != "-" {
			fields[name] = strings.Contains(options, "omitempty") || strings.Contains(options, "omitzero")
		}
	}
	return fields
}

func TestPlanningSchemasAreThePlannersTypes(t *testing.T) {
	t.Parallel()
	doc := document(t)
	for schema, v := range map[string]any{
		"PlanningProblem":  planner.Problem{},
		"PlanningWindow":   planner.Window{},
		"PlanningSearch":   planner.Search{},
		"PlanningTank":     planner.Tank{},
		"PlanningReelKind": planner.ReelKind{},
		"PlanningCabinet":  planner.Cabinet{},
		"PlanningSession":  planner.Session{},
		"PlanningClass":    planner.Class{},
		"PlanningBath":     planner.Bath{},
		"PlanningBathSet":  planner.BathSet{},
		"PlanningRoll":     planner.Roll{},
		"PlanningHold":     planner.Hold{},
		"FrozenBatch":      planner.FrozenBatch{},
		"PlanFound":        planner.Plan{},
		"PlannedBatch":     planner.Batch{},
		"ReelUse":          planner.ReelUse{},
		"Placement":        planner.Placement{},
		"LeftOut":          planner.LeftOut{},
		"PlanReason":       planner.Reason{},
		"PlanLevel":        planner.Level{},
	} {
		fields := fieldsOf(reflect.TypeOf(v))
		s := doc.Components.Schemas[schema].Value
		for name := range s.Properties {
			if _, ok := fields[name]; !ok {
				t.Errorf("%s has %s, the program does not", schema, name)
			}
		}
		for name, optional := range fields {
			if s.Properties[name] == nil {
				t.Errorf("%s lacks %s", schema, name)
			}
			if optional && slices.Contains(s.Required, name) {
				t.Errorf("%s requires %s, which the program may leave out", schema, name)
			}
		}
	}
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
