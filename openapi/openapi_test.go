package openapi_test

import (
	"context"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"

	"wetside/openapi"
)

func TestDocumentIsOpenAPI(t *testing.T) {
	t.Parallel()
	doc, err := openapi3.NewLoader().LoadFromData(openapi.Document)
	if err != nil {
		t.Fatal(err)
	}
	if err := doc.Validate(context.Background()); err != nil {
		t.Fatal(err)
	}
}
