package apitest_test

import (
	"net/http"
	"strings"
	"testing"

	"wetside/api/apitest"
)

// What holds answers against the contract sees one that is wrong.
func TestHold(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		status int
		media  string
		body   string
		fine   bool
	}{
		"as the contract has it": {200, "application/json", `{"items":[]}`, true},
		"a field is missing":     {200, "application/json", `{}`, false},
		"another type":           {200, "application/json", `{"items":{}}`, false},
		"no JSON":                {200, "application/json", `items`, false},
		"another media type":     {200, "text/plain", `{"items":[]}`, false},
		"another status":         {201, "application/json", `{"items":[]}`, false},
		"a problem without type": {404, "application/problem+json", `{"code":"not-found"}`, false},
	} {
		req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, "http://127.0.0.1/v1/labs", nil)
		if err != nil {
			t.Fatal(err)
		}
		resp := &http.Response{StatusCode: c.status, Header: http.Header{"Content-Type": {c.media}}}
		if err := apitest.Hold(req, nil, resp, []byte(c.body)); (err == nil) != c.fine {
			t.Errorf("%s: %v", name, err)
		} else if err != nil && !strings.HasPrefix(err.Error(), "answer: ") {
			t.Errorf("%s: %v", name, err)
		}
	}
}
