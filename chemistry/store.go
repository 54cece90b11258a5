package chemistry

import (
	"errors"
	"slices"

	"wetside/lab"
)

// By is the area that counts by the lab's rule.
func (a Areas) By(rule lab.AreaRule) int64 {
	if rule == lab.GeometricArea {
		return a.Geometric
	}
	return a.Trade
}

// AsRefusal turns a Fault of the rules into a refusal of a request that holds
// the value at prefix (a JSON Pointer, "" if the request is the value itself).
// Other errors, and none, it returns as they are.
func AsRefusal(prefix string, err error) error {
	var f Fault
	if !errors.As(err, &f) {
		return err
	}
	return refuseFaults(prefix, f)
}

// refuseFaults refuses a value with faults; none refuse nothing. Where all of
// them are of one problem type of their own, the refusal is of that type.
func refuseFaults(prefix string, fs ...Fault) error {
	if len(fs) == 0 {
		return nil
	}
	r := lab.Refuse(lab.Invalid, problemOf(fs[0].Code), "%s", fs[0].Detail)
	if len(fs) > 1 {
		r.Detail = "several fields break a rule"
	}
	for _, f := range fs {
		if problemOf(f.Code) != r.Code {
			r.Code = "invalid"
		}
		r.Faults = append(r.Faults, lab.Fault{Pointer: prefix + f.Pointer, Code: f.Code, Detail: f.Detail})
	}
	return r
}

// problemOf is the problem type of a fault.
func problemOf(code string) string {
	switch code {
	case "step-without-bath", "role-missing":
		return "step-without-bath"
	case "order":
		return "table-not-increasing"
	case "portions-do-not-add-up", "developer-out-of-tolerance", "temperature-not-in-table":
		return code
	}
	return "invalid"
}

// conflict turns a Fault about the state of things into a refusal of its code.
func conflict(err error) error {
	var f Fault
	if !errors.As(err, &f) {
		return err
	}
	return lab.Refuse(lab.Conflict, f.Code, "%s", f.Detail)
}

func notFound(what string) error {
	return lab.Refuse(lab.NotFound, "not-found", "there is no such %s", what)
}

func indexOf[T any](items []T, is func(T) bool) (T, bool) {
	if i := slices.IndexFunc(items, is); i >= 0 {
		return items[i], true
	}
	var none T
	return none, false
}
