package lab

import (
	"errors"
	"fmt"
	"strings"
)

// Kind is what sort of no a Refusal is; the API maps each to one status.
type Kind int

// The kinds of refusal.
const (
	Malformed   Kind = iota + 1 // not what the contract says a request is
	Invalid                     // well-formed, but breaks a rule of the lab or the trade
	Forbidden                   // known, but not this member's to do
	NotFound                    // not there, or not for this member to know of
	Conflict                    // the state of things does not allow it
	Stale                       // decided on something that has changed since
	Unavailable                 // cannot be done now; later it may
)

// A Fault is one thing wrong with a request.
type Fault struct {
	// Pointer is the JSON Pointer (RFC 6901) of the field at fault, if one is.
	Pointer string `json:"pointer,omitempty"`
	// Parameter is the path, query or header parameter at fault, if one is.
	Parameter string `json:"parameter,omitempty"`
	// Code is stable, for programs; Detail is for people.
	Code   string `json:"code"`
	Detail string `json:"detail"`
}

// A Refusal is a request turned down for a reason that its maker may know. It
// is the only error whose text leaves the server.
type Refusal struct {
	Kind Kind
	// Code names the problem type: kebab-case, stable, listed in the contract.
	Code   string
	Detail string
	Faults []Fault
	// Instead are the ids of things of the kind asked for that would do, the best first.
	Instead []string
}

// Error is the refusal's detail and faults in one line.
func (r *Refusal) Error() string {
	parts := make([]string, 0, 1+len(r.Faults))
	parts = append(parts, r.Code+": "+r.Detail)
	for _, f := range r.Faults {
		parts = append(parts, strings.TrimSpace(f.Pointer+f.Parameter+" "+f.Detail))
	}
	return strings.Join(parts, "; ")
}

// Refuse makes a Refusal without faults.
func Refuse(kind Kind, code, format string, args ...any) *Refusal {
	return &Refusal{Kind: kind, Code: code, Detail: fmt.Sprintf(format, args...)}
}

// With adds a fault at a JSON Pointer and returns r.
func (r *Refusal) With(pointer, code, format string, args ...any) *Refusal {
	r.Faults = append(r.Faults, Fault{Pointer: pointer, Code: code, Detail: fmt.Sprintf(format, args...)})
	return r
}

// OrNil is r if it has faults, else nil: for checks that gather them.
func (r *Refusal) OrNil() error {
	if len(r.Faults) == 0 {
		return nil
	}
	return r
}

// RefusalCode is the code of the Refusal in err's chain, or "".
func RefusalCode(err error) string {
	var r *Refusal
	if errors.As(err, &r) {
		return r.Code
	}
	return ""
}
