package openapi_test

import (
	"context"
	"encoding/json"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"

	"wetside/openapi"
)

// document loads and validates the contract; every $ref resolves in it.
func document(t *testing.T) *openapi3.T {
	t.Helper()
	doc, err := openapi3.NewLoader().LoadFromData(openapi.Document)
	if err != nil {
		t.Fatal(err)
	}
	if err := doc.Validate(context.Background()); err != nil {
		t.Fatal(err)
	}
	return doc
}

// eachOperation runs f for every operation, as a subtest.
func eachOperation(t *testing.T, f func(t *testing.T, method, path string, item *openapi3.PathItem, op *openapi3.Operation)) {
	t.Helper()
	doc := document(t)
	for path, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			t.Run(method+" "+path, func(t *testing.T) { f(t, method, path, item, op) })
		}
	}
}

func TestOperationsSayWhatTheyAre(t *testing.T) {
	t.Parallel()
	camel := regexp.MustCompile(`^[a-z]+([A-Z][a-z]+)*$`)
	tags := map[string]bool{}
	for _, tag := range document(t).Tags {
		tags[tag.Name] = tag.Description != ""
	}
	seen := map[string]bool{}
	eachOperation(t, func(t *testing.T, _, _ string, _ *openapi3.PathItem, op *openapi3.Operation) {
		if !camel.MatchString(op.OperationID) || seen[op.OperationID] {
			t.Errorf("operationId %q is not in camel case, or not its own", op.OperationID)
		}
		seen[op.OperationID] = true
		if op.Summary == "" || strings.HasSuffix(op.Summary, ".") {
			t.Errorf("summary %q: want a phrase", op.Summary)
		}
		if !strings.HasSuffix(op.Description, ".") {
			t.Errorf("description %q: want a sentence", op.Description)
		}
		if len(op.Tags) != 1 || !tags[op.Tags[0]] {
			t.Errorf("tags %v: want one that the document describes", op.Tags)
		}
	})
}

func TestPathsAreKebabCaseAndPlain(t *testing.T) {
	t.Parallel()
	part := regexp.MustCompile(`^([a-z]+(-[a-z]+)*(\.yaml)?|v1|\.well-known|jwks\.json|\{[a-z]+(_[a-z]+)*\})$`)
	for path := range document(t).Paths.Map() {
		if path == "/" {
			continue
		}
		for _, p := range strings.Split(path, "/")[1:] {
			if !part.MatchString(p) {
				t.Errorf("%s: %q is neither kebab-case nor a parameter", path, p)
			}
		}
	}
}

func TestFieldsAreSnakeCase(t *testing.T) {
	t.Parallel()
	snake := regexp.MustCompile(`^[a-z][a-z0-9]*(_[a-z0-9]+)*$`)
	properties := 0
	eachSchema(t, func(where string, schema map[string]any) {
		fields, _ := schema["properties"].(map[string]any)
		for name := range fields {
			properties++
			if !snake.MatchString(name) {
				t.Errorf("%s: the field %q is not snake_case", where, name)
			}
		}
		required, _ := schema["required"].([]any)
		for _, name := range required {
			if _, ok := fields[name.(string)]; !ok {
				t.Errorf("%s: requires %q, which it does not describe", where, name)
			}
		}
	})
	if properties < 300 {
		t.Errorf("only %d fields found: the walk misses some", properties)
	}
}

// eachSchema runs f for every schema object of the components, however deep.
func eachSchema(t *testing.T, f func(where string, schema map[string]any)) {
	t.Helper()
	text, err := document(t).MarshalJSON()
	if err != nil {
		t.Fatal(err)
	}
	var tree struct {
		Components struct {
			Schemas map[string]any `json:"schemas"`
		} `json:"components"`
	}
	if err := json.Unmarshal(text, &tree); err != nil {
		t.Fatal(err)
	}
	var walk func(where string, v any)
	walk = func(where string, v any) {
		schema, ok := v.(map[string]any)
		if !ok {
			return
		}
		f(where, schema)
		fields, _ := schema["properties"].(map[string]any)
		for name, field := range fields {
			walk(where+"/"+name, field)
		}
		walk(where+"/items", schema["items"])
		walk(where+"/additionalProperties", schema["additionalProperties"])
		for _, several := range []string{"allOf", "anyOf", "oneOf"} {
			parts, _ := schema[several].([]any)
			for _, part := range parts {
				walk(where+"/"+several, part)
			}
		}
	}
	for name, schema := range tree.Components.Schemas {
		walk(name, schema)
	}
}

// mayAsk are the words of x-may.
var mayAsk = []string{"anyone", "setup", "member", "self", "owner", "steward", "treasurer", "keeper"}

func TestOperationsSayWhoMayAsk(t *testing.T) {
	t.Parallel()
	eachOperation(t, func(t *testing.T, _, _ string, _ *openapi3.PathItem, op *openapi3.Operation) {
		may, _ := op.Extensions["x-may"].([]any)
		if len(may) == 0 {
			t.Fatal("no x-may")
		}
		for _, who := range may {
			if !slices.Contains(mayAsk, who.(string)) {
				t.Errorf("x-may has %q", who)
			}
		}
		if op.Security == nil {
			t.Fatal("no security: want bearer, or an empty list")
		}
		var want, got []string
		for _, who := range may {
			switch who {
			case "self", "owner": // whose object it is, among members, is not the gate's to say
				who = "member"
			case "anyone":
				continue
			}
			if !slices.Contains(want, who.(string)) {
				want = append(want, who.(string))
			}
		}
		if slices.Contains(want, "member") { // with any member come all roles
			want = slices.DeleteFunc(want, func(w string) bool { return w != "member" && w != "setup" })
		}
		for _, either := range *op.Security {
			got = append(got, either["bearer"]...)
		}
		if !slices.Equal(got, want) || len(got) != len(*op.Security) {
			t.Errorf("x-may %v: want security of bearer with one of the roles %v, not %v", may, want, *op.Security)
		}
	})
}

func TestEveryOperationHasALimit(t *testing.T) {
	t.Parallel()
	eachOperation(t, func(t *testing.T, _, path string, _ *openapi3.PathItem, op *openapi3.Operation) {
		if strings.HasPrefix(path, "/v1/") && op.Responses.Value("429") == nil {
			t.Error("too many requests are answered with 429")
		}
	})
}
