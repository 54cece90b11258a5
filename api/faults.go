package api

import (
	"fmt"
	"strings"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/santhosh-tekuri/jsonschema/v6/kind"
	"golang.org/x/text/language"
	"golang.org/x/text/message"

	"wetside/lab"
)

var english = message.NewPrinter(language.English)

// faultsOf lists everything that a schema found wrong with a value, each with
// the pointer of the field that is at fault.
func faultsOf(err *jsonschema.ValidationError) []lab.Fault {
	at := func(code, detail string, more ...string) lab.Fault {
		path := append(append([]string{}, err.InstanceLocation...), more...)
		return lab.Fault{Pointer: pointer(path), Code: code, Detail: detail}
	}
	var faults []lab.Fault
	switch k := err.ErrorKind.(type) {
	case *kind.Required:
		for _, name := range k.Missing {
			faults = append(faults, at("required", "this field must be given", name))
		}
		return faults
	case *kind.DependentRequired:
		for _, name := range k.Missing {
			faults = append(faults, at("required", "this field must be given with "+k.Prop, name))
		}
		return faults
	case *kind.AdditionalProperties:
		for _, name := range k.Properties {
			faults = append(faults, at("unknown-field", "there is no such field", name))
		}
		return faults
	case *kind.Format:
		return []lab.Fault{at("format", k.Err.Error())}
	case *kind.FalseSchema:
		return []lab.Fault{at("unknown-field", "there is no such field here")}
	case *kind.AnyOf, *kind.OneOf:
		if best := likeliest(err); best != nil {
			return faultsOf(best)
		}
		return []lab.Fault{at("shape", "this has none of the shapes that the contract allows here")}
	}
	if len(err.Causes) == 0 {
		return []lab.Fault{at(faultCode(err.ErrorKind), sentence(err.ErrorKind))}
	}
	for _, cause := range err.Causes {
		faults = append(faults, faultsOf(cause)...)
	}
	return faults
}

// likeliest is the one alternative that the value is of the right type for,
// or nil if none or several are.
func likeliest(err *jsonschema.ValidationError) *jsonschema.ValidationError {
	var found *jsonschema.ValidationError
	for _, cause := range err.Causes {
		leaf := cause
		for len(leaf.Causes) == 1 {
			leaf = leaf.Causes[0]
		}
		if _, wrong := leaf.ErrorKind.(*kind.Type); wrong && len(leaf.InstanceLocation) == len(err.InstanceLocation) {
			continue
		}
		if found != nil {
			return nil
		}
		found = cause
	}
	return found
}

// faultCode is the stable code of a leaf.
func faultCode(k jsonschema.ErrorKind) string {
	switch k.(type) {
	case *kind.Type:
		return "wrong-type"
	case *kind.Enum, *kind.Const:
		return "not-one-of"
	case *kind.Minimum, *kind.Maximum, *kind.ExclusiveMinimum, *kind.ExclusiveMaximum, *kind.MultipleOf:
		return "out-of-range"
	case *kind.MinLength, *kind.MaxLength, *kind.MinItems, *kind.MaxItems, *kind.MinProperties, *kind.MaxProperties:
		return "length"
	case *kind.Pattern:
		return "pattern"
	case *kind.UniqueItems:
		return "duplicate"
	default:
		return "shape"
	}
}

// sentence says what is wrong, without the value: it may be long, or private.
func sentence(k jsonschema.ErrorKind) string {
	switch k := k.(type) {
	case *kind.Pattern:
		return "want text that matches " + k.Want
	case *kind.Type:
		return fmt.Sprintf("want %s, not %s", strings.Join(k.Want, " or "), k.Got)
	default:
		return k.LocalizedString(english)
	}
}
