package api

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/santhosh-tekuri/jsonschema/v6"
)

// A contract is openapi/wetside.yaml made ready to hold requests against.
//
// kin-openapi reads it. Its own validation compiles a schema anew for every
// value (measured at 0.3 ms and 180 kB a request), so the schemas are compiled
// here, once, by the JSON Schema 2020-12 validator that it uses underneath:
// 0.08 ms and 8 kB for a tank, reading the JSON included (BenchmarkCheckBody).
type contract struct {
	shapes map[string]*shape // by operationId
}

// A shape is what the contract says of one operation's request.
type shape struct {
	method, path string
	bodies       map[string]*jsonschema.Schema // by media type; empty: no body
	bodyOptional bool
	parameters   []parameter
}

// A parameter is one of the path, the query or the header.
type parameter struct {
	in, name string
	required bool
	array    bool
	kind     string // the JSON type of the value, or of an array's items
	schema   *jsonschema.Schema
}

const contractURL = "wetside.json"

// readContract compiles the contract. It fails on a document that is not
// OpenAPI 3.1 or has an operation without an operationId.
func readContract(document []byte) (*contract, error) {
	doc, err := openapi3.NewLoader().LoadFromData(document)
	if err != nil {
		return nil, fmt.Errorf("read contract: %w", err)
	}
	compiler, err := schemaCompiler(doc)
	if err != nil {
		return nil, err
	}
	c := &contract{shapes: map[string]*shape{}}
	for path, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			if op.OperationID == "" || c.shapes[op.OperationID] != nil {
				return nil, fmt.Errorf("contract: %s %s has no operationId of its own", method, path)
			}
			at := "#/paths/" + escapeToken(path)
			s := &shape{method: method, path: path, bodies: map[string]*jsonschema.Schema{}}
			err := errors.Join(
				s.addParameters(compiler, item.Parameters, at+"/parameters"),
				s.addParameters(compiler, op.Parameters, at+"/"+strings.ToLower(method)+"/parameters"),
				s.addBody(compiler, op.RequestBody, at+"/"+strings.ToLower(method)+"/requestBody"),
			)
			if err != nil {
				return nil, fmt.Errorf("contract: %s: %w", op.OperationID, err)
			}
			c.shapes[op.OperationID] = s
		}
	}
	return c, nil
}

func schemaCompiler(doc *openapi3.T) (*jsonschema.Compiler, error) {
	plain, err := json.Marshal(doc)
	if err != nil {
		return nil, fmt.Errorf("contract: %w", err)
	}
	tree, err := jsonschema.UnmarshalJSON(bytes.NewReader(plain))
	if err != nil {
		return nil, fmt.Errorf("contract: %w", err)
	}
	compiler := jsonschema.NewCompiler()
	compiler.DefaultDraft(jsonschema.Draft2020)
	for _, f := range formats {
		compiler.RegisterFormat(f)
	}
	compiler.AssertFormat()
	if err := compiler.AddResource(contractURL, tree); err != nil {
		return nil, fmt.Errorf("contract: %w", err)
	}
	return compiler, nil
}

func (s *shape) addParameters(compiler *jsonschema.Compiler, refs openapi3.Parameters, at string) error {
	for i, ref := range refs {
		where := fmt.Sprintf("%s/%d", at, i)
		if ref.Ref != "" {
			where = ref.Ref
		}
		p := ref.Value
		schema, err := compiler.Compile(contractURL + where + "/schema")
		if err != nil {
			return fmt.Errorf("parameter %s: %w", p.Name, err)
		}
		value := p.Schema.Value
		array := value.Type != nil && value.Type.Includes("array")
		if array {
			value = value.Items.Value
		}
		kind := "string"
		if value.Type != nil && len(value.Type.Slice()) > 0 {
			kind = value.Type.Slice()[0]
		}
		s.parameters = append(s.parameters, parameter{
			in: p.In, name: p.Name, required: p.Required, array: array, kind: kind, schema: schema,
		})
	}
	return nil
}

func (s *shape) addBody(compiler *jsonschema.Compiler, ref *openapi3.RequestBodyRef, at string) error {
	if ref == nil {
		return nil
	}
	if ref.Ref != "" {
		at = ref.Ref
	}
	s.bodyOptional = !ref.Value.Required
	for media := range ref.Value.Content {
		schema, err := compiler.Compile(contractURL + at + "/content/" + escapeToken(media) + "/schema")
		if err != nil {
			return fmt.Errorf("body: %w", err)
		}
		s.bodies[media] = schema
	}
	return nil
}

// escapeToken writes a JSON Pointer token for use in a URL's fragment.
func escapeToken(token string) string {
	token = strings.NewReplacer("~", "~0", "/", "~1").Replace(token)
	return strings.NewReplacer("{", "%7B", "}", "%7D").Replace(token)
}

var parameterOf = regexp.MustCompile(`:([a-z_]+)`)

// covers fails unless the contract has every operation of the table, with the
// same method and path: nothing is served that it does not describe.
func (c *contract) covers(table []operation) error {
	var faults []error
	for _, op := range table {
		path := parameterOf.ReplaceAllString(op.Path, "{$1}")
		s := c.shapes[op.ID]
		switch {
		case s == nil:
			faults = append(faults, fmt.Errorf("the contract has no operation %s (%s %s)", op.ID, op.Method, path))
		case s.method != op.Method || s.path != path:
			faults = append(faults, fmt.Errorf("the contract has %s at %s %s, the server at %s %s", op.ID, s.method, s.path, op.Method, path))
		}
	}
	return errors.Join(faults...)
}
