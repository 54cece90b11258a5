package openapi_test

import (
	"net/http"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
)

// parameterOf finds a parameter of an operation or its path.
func parameterOf(item *openapi3.PathItem, op *openapi3.Operation, in, name string) *openapi3.Parameter {
	if p := op.Parameters.GetByInAndName(in, name); p != nil {
		return p
	}
	return item.Parameters.GetByInAndName(in, name)
}

func answers(op *openapi3.Operation, status int) bool { return op.Responses.Status(status) != nil }

func TestOperationsNameTheProblemsTheyCanGive(t *testing.T) {
	t.Parallel()
	eachOperation(t, func(t *testing.T, method, path string, item *openapi3.PathItem, op *openapi3.Operation) {
		if !strings.HasPrefix(path, "/v1/") {
			return
		}
		want := []int{400, 503}
		if len(*op.Security) > 0 {
			want = append(want, 401)
		}
		if strings.HasPrefix(path, "/v1/labs/{lab}") {
			want = append(want, 403, 404)
		}
		if op.RequestBody != nil {
			want = append(want, 413, 415, 422)
		}
		if method != http.MethodGet {
			want = append(want, 409)
		}
		ifMatch := parameterOf(item, op, "header", "If-Match")
		if ifMatch != nil {
			want = append(want, 412, 428)
		}
		for _, status := range want {
			if !answers(op, status) {
				t.Errorf("no answer for %d", status)
			}
		}
		if method == http.MethodPatch && (ifMatch == nil || !ifMatch.Required) {
			t.Error("a change must require If-Match")
		}
		if ifMatch == nil && answers(op, 412) {
			t.Error("412 without If-Match")
		}
		if parameterOf(item, op, "header", "Trial-Time") == nil {
			t.Error("no Trial-Time")
		}
		if (method == http.MethodPost) != (parameterOf(item, op, "header", "Idempotency-Key") != nil) {
			t.Error("every POST takes Idempotency-Key, and nothing else does")
		}
	})
}

func TestProblemsAreProblemDetails(t *testing.T) {
	t.Parallel()
	eachOperation(t, func(t *testing.T, _, _ string, _ *openapi3.PathItem, op *openapi3.Operation) {
		successes := 0
		for status, answer := range op.Responses.Map() {
			if status < "400" {
				if status < "300" {
					successes++
				}
				continue
			}
			content := answer.Value.Content
			if len(content) != 1 || content["application/problem+json"] == nil {
				t.Errorf("%s is not application/problem+json", status)
			}
		}
		if successes != 1 {
			t.Errorf("%d ways to succeed, want 1", successes)
		}
	})
}

func TestSuccessesCarryTheirHeaders(t *testing.T) {
	t.Parallel()
	eachOperation(t, func(t *testing.T, method, _ string, item *openapi3.PathItem, op *openapi3.Operation) {
		ok := op.Responses.Status(http.StatusOK)
		if (method == http.MethodDelete) != answers(op, http.StatusNoContent) {
			t.Error("a DELETE answers 204, and nothing else does")
		}
		if method == http.MethodGet && ok == nil {
			t.Error("a GET answers 200")
		}
		if limit := parameterOf(item, op, "query", "limit"); limit != nil {
			if parameterOf(item, op, "query", "cursor") == nil || ok.Value.Headers["Link"] == nil {
				t.Error("a list takes cursor and answers Link")
			}
		}
		if method == http.MethodGet && ok != nil && (ok.Value.Headers["ETag"] != nil) != answers(op, http.StatusNotModified) {
			t.Error("a GET with ETag may answer 304, and no other")
		}
		if method == http.MethodPatch && ok.Value.Headers["ETag"] == nil {
			t.Error("a change answers the new ETag")
		}
	})
}

func TestProblemTypesAreListedAndFitTheirOperations(t *testing.T) {
	t.Parallel()
	statusOf := map[string]string{}
	listed, _ := document(t).Extensions["x-problem-types"].(map[string]any)
	for status, codes := range listed {
		for _, code := range codes.([]any) {
			if statusOf[code.(string)] != "" {
				t.Errorf("%s is listed twice", code)
			}
			statusOf[code.(string)] = status
		}
	}
	if len(statusOf) < 40 {
		t.Fatalf("only %d types of problem found", len(statusOf))
	}
	eachOperation(t, func(t *testing.T, _, _ string, _ *openapi3.PathItem, op *openapi3.Operation) {
		given, _ := op.Extensions["x-problems"].([]any)
		for _, code := range given {
			if status := statusOf[code.(string)]; op.Responses.Value(status) == nil {
				t.Errorf("%s: no answer for its status, %q", code, status)
			}
		}
	})
}
