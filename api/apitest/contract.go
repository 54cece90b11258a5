package apitest

import (
	"bytes"
	"fmt"
	"io"
	"net/http"
	"strings"
	"sync"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/getkin/kin-openapi/routers/gorillamux"

	"wetside/openapi"
)

// A document is the contract as exchanges are held against it.
type document struct {
	routers.Router
	schemas *schemas
}

// contract is the contract, read once.
var contract = sync.OnceValues(func() (document, error) {
	doc, err := openapi3.NewLoader().LoadFromData(openapi.Document)
	if err != nil {
		return document{}, err
	}
	doc.Servers = nil // tests listen wherever a port is free
	openapi3filter.RegisterBodyDecoder("application/merge-patch+json", openapi3filter.JSONBodyDecoder)
	openapi3filter.RegisterBodyDecoder("application/problem+json", openapi3filter.JSONBodyDecoder)
	schemas, err := newSchemas(doc)
	if err != nil {
		return document{}, err
	}
	router, err := gorillamux.NewRouter(doc)
	return document{router, schemas}, err
})

// Hold holds an exchange against the contract: the answer always, and the
// request where the server took it, for what the server takes the contract
// must take too. Operations that a test added outside /v1/ it lets be.
func Hold(req *http.Request, sent []byte, resp *http.Response, got []byte) error {
	doc, err := contract()
	if err != nil {
		return err
	}
	if req.Method == http.MethodHead || req.Method == http.MethodOptions {
		return nil
	}
	route, params, err := doc.FindRoute(req)
	if err != nil {
		if resp.StatusCode < 400 && strings.HasPrefix(req.URL.Path, "/v1/") {
			return fmt.Errorf("not in the contract: %w", err)
		}
		return nil
	}
	req.Body = io.NopCloser(bytes.NewReader(sent))
	in := &openapi3filter.RequestValidationInput{
		Request: req, PathParams: params, Route: route,
		Options: &openapi3filter.Options{
			MultiError: true, IncludeResponseStatus: true, SkipSettingDefaults: true,
			AuthenticationFunc: openapi3filter.NoopAuthenticationFunc,
		},
	}
	if resp.StatusCode < 400 {
		if err := openapi3filter.ValidateRequest(req.Context(), in); err != nil {
			return fmt.Errorf("request: %w", err)
		}
	}
	pointer, isJSON := answerAt(route, resp)
	in.Options.ExcludeResponseBody = isJSON
	out := &openapi3filter.ResponseValidationInput{
		RequestValidationInput: in, Status: resp.StatusCode, Header: resp.Header, Options: in.Options,
	}
	if err := openapi3filter.ValidateResponse(req.Context(), out.SetBodyBytes(got)); err != nil {
		return fmt.Errorf("answer: %w", err)
	}
	if isJSON {
		if err := doc.schemas.check(pointer, got); err != nil {
			return fmt.Errorf("answer: %w", err)
		}
	}
	return nil
}
