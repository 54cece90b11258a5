package api

import (
	"encoding/json"
	"errors"
	"net/http"

	"wetside/lab"
	"wetside/lab/database"
)

// A problem is an error as it is answered (RFC 9457, application/problem+json).
type problem struct {
	Type     string      `json:"type"`
	Code     string      `json:"code"`
	Title    string      `json:"title"`
	Status   int         `json:"status"`
	Detail   string      `json:"detail"`
	Instance string      `json:"instance"`
	Errors   []lab.Fault `json:"errors,omitempty"`
	Instead  []string    `json:"instead,omitempty"`
}

// A failure is an error of the HTTP layer itself, with its own status.
type failure struct {
	status int
	code   string
	detail string
	header map[string]string
}

// Error is the failure's code and detail.
func (f *failure) Error() string { return f.code + ": " + f.detail }

// statuses is what each kind of refusal is answered with.
var statuses = map[lab.Kind]int{
	lab.Malformed:   http.StatusBadRequest,
	lab.Invalid:     http.StatusUnprocessableEntity,
	lab.Forbidden:   http.StatusForbidden,
	lab.NotFound:    http.StatusNotFound,
	lab.Conflict:    http.StatusConflict,
	lab.Stale:       http.StatusPreconditionFailed,
	lab.Unavailable: http.StatusServiceUnavailable,
}

// problemOf turns any error into what may be answered. Unless it is a refusal
// or a failure of this layer its text stays inside: expected is false then.
func problemOf(err error) (p problem, header map[string]string, expected bool) {
	var refusal *lab.Refusal
	var fail *failure
	switch {
	case errors.As(err, &fail):
		p, header = problem{Status: fail.status, Code: fail.code, Detail: fail.detail}, fail.header
	case errors.As(err, &refusal) && statuses[refusal.Kind] != 0:
		p = problem{Status: statuses[refusal.Kind], Code: refusal.Code, Detail: refusal.Detail, Errors: refusal.Faults, Instead: refusal.Instead}
	case errors.Is(err, database.ErrUnknownOutcome):
		p = problem{Status: http.StatusServiceUnavailable, Code: "database-unavailable",
			Detail: "The database gave no answer to the very end of this request, which may have taken effect or not. Look first, or send it again with the same Idempotency-Key if it had one."}
	case database.Gone(err):
		p = problem{Status: http.StatusServiceUnavailable, Code: "database-unavailable",
			Detail: "The database cannot be reached at the moment. Nothing is lost; try again shortly."}
	default:
		return problem{Status: http.StatusInternalServerError, Code: "internal",
			Detail: "Something went wrong on our side. The instance below finds it in the log."}, nil, false
	}
	if p.Status == http.StatusServiceUnavailable && header == nil {
		header = map[string]string{"Retry-After": "2"}
	}
	return p, header, true
}

// describe is problemOf with all that a problem says; id is our own of the request.
func describe(err error, id string) (p problem, header map[string]string) {
	p, header, _ = problemOf(err)
	p.Type = "/problems/" + p.Code
	p.Title = titleOf(p.Code, p.Status)
	p.Instance = "urn:uuid:" + id
	return p, header
}

// writeProblem answers err; id is our own of the request.
func writeProblem(w http.ResponseWriter, err error, id string) problem {
	p, header := describe(err, id)
	for name, value := range header {
		w.Header().Set(name, value)
	}
	w.Header().Set("Content-Type", "application/problem+json")
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Del("ETag")
	w.WriteHeader(p.Status)
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	_ = enc.Encode(p) // nobody is left to tell when the caller has gone
	return p
}

// unauthenticated is a 401 with the challenge that RFC 6750 asks for; an
// empty code means that no token came with the request.
func unauthenticated(code, detail string) error {
	challenge := `Bearer realm="wetside"`
	if code != "" {
		challenge += `, error="` + code + `", error_description="` + detail + `"`
	}
	return &failure{status: http.StatusUnauthorized, code: "unauthenticated", detail: detail,
		header: map[string]string{"WWW-Authenticate": challenge}}
}
