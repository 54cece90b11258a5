package apitest

import (
	"bytes"
	"encoding/json"
	"fmt"
	"mime"
	"net/http"
	"strconv"
	"strings"
	"sync"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/routers"
	"github.com/santhosh-tekuri/jsonschema/v6"
)

// schemas are the contract's, each compiled once: the validator that reads
// routes and headers would compile a schema anew for every body.
type schemas struct {
	mu       sync.Mutex
	compiler *jsonschema.Compiler
	at       map[string]*jsonschema.Schema
}

const schemasURL = "contract:///wetside.json"

func newSchemas(doc *openapi3.T) (*schemas, error) {
	plain, err := json.Marshal(doc)
	if err != nil {
		return nil, err
	}
	tree, err := jsonschema.UnmarshalJSON(bytes.NewReader(plain))
	if err != nil {
		return nil, err
	}
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	c.AssertFormat()
	if err := c.AddResource(schemasURL, tree); err != nil {
		return nil, err
	}
	return &schemas{compiler: c, at: map[string]*jsonschema.Schema{}}, nil
}

// find is the schema at a JSON Pointer in the contract.
func (s *schemas) find(pointer string) (*jsonschema.Schema, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.at[pointer] == nil {
		schema, err := s.compiler.Compile(schemasURL + pointer)
		if err != nil {
			return nil, err
		}
		s.at[pointer] = schema
	}
	return s.at[pointer], nil
}

// answerAt is where the contract has the schema of an answer's body. ok is
// false unless the body is JSON of a media type that the answer may have.
func answerAt(route *routers.Route, resp *http.Response) (pointer string, ok bool) {
	media, _, err := mime.ParseMediaType(resp.Header.Get("Content-Type"))
	status := strconv.Itoa(resp.StatusCode)
	ref := route.Operation.Responses.Value(status)
	if err != nil || ref == nil || !strings.HasSuffix(media, "json") || ref.Value.Content[media] == nil || ref.Value.Content[media].Schema == nil {
		return "", false
	}
	at := ref.Ref
	if at == "" {
		at = fmt.Sprintf("#/paths/%s/%s/responses/%s", token(route.Path), strings.ToLower(route.Method), status)
	}
	return at + "/content/" + token(media) + "/schema", true
}

// token writes one token of a JSON Pointer for a URL's fragment.
func token(text string) string {
	return strings.NewReplacer("~", "~0", "/", "~1", "{", "%7B", "}", "%7D").Replace(text)
}

// check holds a body against the schema at a pointer.
func (s *schemas) check(pointer string, body []byte) error {
	schema, err := s.find(pointer)
	if err != nil {
		return err
	}
	value, err := jsonschema.UnmarshalJSON(bytes.NewReader(body))
	if err != nil {
		return err
	}
	return schema.Validate(value)
}
