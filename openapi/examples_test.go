package openapi_test

import (
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
)

// examplesOf are a schema's own examples.
func examplesOf(ref *openapi3.SchemaRef) []any { return ref.Value.Examples }

func TestExamplesAreValid(t *testing.T) {
	t.Parallel()
	examples := 0
	for name, ref := range document(t).Components.Schemas {
		for _, example := range examplesOf(ref) {
			examples++
			err := ref.Value.VisitJSON(example, openapi3.EnableJSONSchema2020(), openapi3.MultiErrors(), openapi3.EnableFormatValidation())
			if err != nil {
				t.Errorf("%s: %v", name, err)
			}
		}
	}
	if examples < 60 {
		t.Errorf("only %d examples found", examples)
	}
}

func TestBodiesHaveExamples(t *testing.T) {
	t.Parallel()
	eachOperation(t, func(t *testing.T, _, _ string, _ *openapi3.PathItem, op *openapi3.Operation) {
		if op.RequestBody == nil {
			return
		}
		if !op.RequestBody.Value.Required {
			t.Error("the body may be left out")
		}
		for media, content := range op.RequestBody.Value.Content {
			if content.Schema.Ref == "" || len(examplesOf(content.Schema)) == 0 {
				t.Errorf("%s has no example", media)
			}
		}
	})
}
