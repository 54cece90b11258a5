package api_test

import (
	"encoding/json"
	"net/http"
	"testing"

	"wetside/api/apitest"
)

// What TestContractFuzz has found, each by itself.
func TestOddRequestsAreAnsweredAsTheContractHasIt(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	b := newBadLab(t, s, "Sallowmere Film Co-op")

	// A NUL in the lab's place reached the database.
	s.Setup(t).Get("/v1/labs/%00").WantProblem(http.StatusNotFound, "not-found")
	s.Anyone(t).Post("/v1/labs/%00/sign-ins", `{"email":"a@b.example","password":"x"}`).WantProblem(http.StatusNotFound, "not-found")
	// A coded body where none is wanted was answered 415, which is of operations that take one.
	b.With("Content-Encoding", "gzip").With("If-Match", "*").Do(http.MethodDelete, b.Path("rolls", b.roll), "x").WantProblem(http.StatusBadRequest, "malformed")
	// A month of the sixth century was closed.
	b.Post(b.Path("months"), `{"month":"0565-12"}`).WantProblem(http.StatusBadRequest, "malformed")
	// Places for a roll that needs none were answered 409, which the contract had not.
	b.With("If-Match", "*").Do(http.MethodDelete, b.Path("rolls", b.roll), nil).Want(http.StatusNoContent)
	b.Get(b.Path("sessions")+"?places_for="+b.roll).WantProblem(http.StatusConflict, "roll-not-on-shelf")
	// A lab's own problem could have a bath set without baths, which tryPlan did not take.
	var problem map[string]any
	for _, op := range contractOperations(t) {
		if op.id == "tryPlan" {
			if err := json.Unmarshal(op.example, &problem); err != nil {
				t.Fatal(err)
			}
		}
	}
	problem["bath_sets"] = append(problem["bath_sets"].([]any), map[string]any{"id": "gone", "processes": []any{}, "baths": []any{}})
	b.Post("/v1/plan-trials", problem).Want(http.StatusOK)
}
