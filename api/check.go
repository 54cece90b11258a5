package api

import (
	"encoding/json"
	"errors"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"wetside/lab"
)

// checkPath refuses with NotFound if a parameter of the path cannot be the
// name of anything: the router lets slashes into the last one.
func (s *shape) checkPath(path map[string]string) error {
	for _, p := range s.parameters {
		v := path[p.name]
		if p.in == "path" && (strings.ContainsAny(v, "/\x00") || p.schema.Validate(v) != nil) {
			return lab.Refuse(lab.NotFound, "not-found", "there is nothing at this address")
		}
	}
	return nil
}

// checkQuery refuses with Malformed, naming every parameter that is unknown,
// missing, repeated or not what the contract says.
func (s *shape) checkQuery(query url.Values) error {
	r := lab.Refuse(lab.Malformed, "malformed", "the query is not what the contract says")
	fault := func(name, code, detail string) {
		r.Faults = append(r.Faults, lab.Fault{Parameter: name, Code: code, Detail: detail})
	}
	known := map[string]bool{}
	for _, p := range s.parameters {
		if p.in != "query" {
			continue
		}
		known[p.name] = true
		given := query[p.name]
		switch {
		case len(given) == 0 && p.required:
			fault(p.name, "required", "this parameter must be given")
		case len(given) == 0 || p.name == "limit": // limit is lowered, not refused: see pageOf
		case len(given) > 1 && !p.array:
			fault(p.name, "duplicate", "this parameter is given twice")
		default:
			for _, f := range p.check(given) {
				fault(p.name, f.Code, f.Detail)
			}
		}
	}
	names := make([]string, 0, len(query))
	for name := range query {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		if !known[name] {
			fault(name, "unknown-parameter", "there is no such parameter")
		}
	}
	for i, f := range r.Faults {
		if otherDegrees.MatchString(query.Get(f.Parameter)) {
			r.Faults[i].Code, r.Faults[i].Detail, r.Code = "temperature-not-celsius", inCelsius, "temperature-not-celsius"
		}
	}
	return r.OrNil()
}

// checkHeader refuses with Malformed, naming every header of the contract that
// is given and not what it says. Those that are missing are found elsewhere.
func (s *shape) checkHeader(header http.Header) error {
	r := lab.Refuse(lab.Malformed, "malformed", "a header is not what the contract says")
	for _, p := range s.parameters {
		given := header.Values(p.name)
		if p.in != "header" || len(given) == 0 {
			continue
		}
		for _, f := range p.check([]string{strings.Join(given, ", ")}) { // which is what several mean
			r.Faults = append(r.Faults, lab.Fault{Parameter: p.name, Code: f.Code, Detail: f.Detail})
		}
	}
	return r.OrNil()
}

// check holds a parameter's texts against its schema.
func (p parameter) check(given []string) []lab.Fault {
	values := make([]any, len(given))
	for i, s := range given {
		values[i] = s
		if strings.ContainsRune(s, 0) {
			return []lab.Fault{{Code: "control-character", Detail: "a text may not hold NUL"}}
		}
		switch p.kind {
		case "integer", "number":
			if _, err := strconv.ParseInt(s, 10, 64); err == nil {
				values[i] = json.Number(s)
			}
		case "boolean":
			if b, err := strconv.ParseBool(s); err == nil {
				values[i] = b
			}
		}
	}
	var value any = values
	if !p.array {
		value = values[0]
	}
	return schemaFaults(p.schema, value)
}

// checkBody reads a body and holds it against the contract: it fails with 415
// on another media type and refuses with Malformed, naming all faults of one
// kind at once. The value is nil where the contract wants no body.
func (s *shape) checkBody(contentType string, data []byte) (any, error) {
	if len(s.bodies) == 0 {
		if len(data) > 0 {
			return nil, lab.Refuse(lab.Malformed, "malformed", "this takes no body")
		}
		return nil, nil
	}
	if len(data) == 0 && s.bodyOptional {
		return nil, nil
	}
	media, params, err := mime.ParseMediaType(contentType)
	schema := s.bodies[media]
	if err != nil || schema == nil || (params["charset"] != "" && !strings.EqualFold(params["charset"], "utf-8")) {
		return nil, s.wrongMedia()
	}
	value, err := parseJSON(data)
	if err != nil {
		return nil, err
	}
	if faults := schemaFaults(schema, value); len(faults) > 0 {
		r := &lab.Refusal{Kind: lab.Malformed, Code: "malformed", Detail: "the body is not what the contract says", Faults: faults}
		if notCelsius(value, faults) {
			r.Code, r.Detail = "temperature-not-celsius", "a temperature is not in degrees Celsius"
		}
		return nil, r
	}
	return value, nil
}

// wrongMedia is a 415 that says what would do (RFC 5789, RFC 9110).
func (s *shape) wrongMedia() error {
	var want []string
	for media := range s.bodies {
		want = append(want, media)
	}
	slices.Sort(want)
	header := "Accept-Post"
	if s.method == http.MethodPatch {
		header = "Accept-Patch"
	}
	return &failure{status: http.StatusUnsupportedMediaType, code: "unsupported-media-type",
		detail: "want a body of type " + strings.Join(want, " or ") + " in UTF-8",
		header: map[string]string{header: strings.Join(want, ", ")}}
}

// schemaFaults is what a schema finds wrong with a value.
func schemaFaults(schema *jsonschema.Schema, value any) []lab.Fault {
	err := schema.Validate(value)
	if err == nil {
		return nil
	}
	var wrong *jsonschema.ValidationError
	if errors.As(err, &wrong) {
		return faultsOf(wrong)
	}
	return []lab.Fault{{Code: "shape", Detail: "this is not what the contract says"}}
}
