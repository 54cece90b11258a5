package apitest

import (
	"encoding/json"
	"net/http"
	"testing"

	"wetside/lab"
)

// A Response is an answer, read whole.
type Response struct {
	Status int
	Body   []byte

	t      testing.TB
	what   string
	header http.Header
}

// A Problem is an answer that says no.
type Problem struct {
	Type, Code, Title, Detail, Instance string
	Status                              int
	Errors                              []lab.Fault
}

// Want fails the test unless the answer has the status.
func (r *Response) Want(status int) *Response {
	r.t.Helper()
	if r.Status != status {
		r.t.Fatalf("%s: answered %d, want %d\n%s", r.what, r.Status, status, r.Body)
	}
	return r
}

// WantProblem fails the test unless the answer is that problem.
func (r *Response) WantProblem(status int, code string) Problem {
	r.t.Helper()
	r.Want(status)
	var p Problem
	r.Into(&p)
	if p.Code != code {
		r.t.Fatalf("%s: problem %q, want %q\n%s", r.what, p.Code, code, r.Body)
	}
	return p
}

// Into decodes the answer's body.
func (r *Response) Into(v any) *Response {
	r.t.Helper()
	if err := json.Unmarshal(r.Body, v); err != nil {
		r.t.Fatalf("%s: %v\n%s", r.what, err, r.Body)
	}
	return r
}

// Header is a header of the answer.
func (r *Response) Header(name string) string { return r.header.Get(name) }

// ETag is the answer's entity tag; the test fails without one.
func (r *Response) ETag() string {
	r.t.Helper()
	tag := r.header.Get("ETag")
	if tag == "" {
		r.t.Fatalf("%s: no ETag", r.what)
	}
	return tag
}

// As decodes an answer's body into a T.
func As[T any](r *Response) T {
	r.t.Helper()
	var v T
	r.Into(&v)
	return v
}
