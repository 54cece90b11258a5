package api_test

import (
	"bytes"
	"strconv"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"

	"wetside/api"
	"wetside/api/apitest"
	"wetside/openapi"
)

// TestContract holds the table of operations and the contract against each
// other: New fails on an operation that the contract lacks, and here on one
// of the contract without a handler.
func TestContract(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	if left := s.API.Unserved(); len(left) > 0 {
		t.Errorf("the contract has %d operations that nothing serves: %s", len(left), strings.Join(left, ", "))
	}
}

// Every problem type has its page, and is in the contract under its status.
func TestProblemTypesAreTheContracts(t *testing.T) {
	t.Parallel()
	doc, err := openapi3.NewLoader().LoadFromData(openapi.Document)
	if err != nil {
		t.Fatal(err)
	}
	listed := map[string]int{}
	for status, codes := range doc.Extensions["x-problem-types"].(map[string]any) {
		for _, code := range codes.([]any) {
			if listed[code.(string)], err = strconv.Atoi(status); err != nil {
				t.Error(err)
			}
		}
	}
	for code, status := range api.ProblemTypes() {
		if listed[code] != status {
			t.Errorf("%s is %d here and %d in the contract", code, status, listed[code])
		}
		delete(listed, code)
	}
	for code := range listed {
		t.Errorf("%s is in the contract alone", code)
	}
}

func TestServerRefusesToStartOutsideTheContract(t *testing.T) {
	t.Parallel()
	pool := apitest.Start(t).Pool
	for name, change := range map[string][2]string{
		"operation missing": {"operationId: getTank\n", "operationId: getVessel\n"},
		"other path":        {"  /v1/labs/{lab}/cabinets/{cabinet}:\n", "  /v1/labs/{lab}/dryers/{cabinet}:\n"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			cfg := apitest.Config()
			cfg.Pool = pool
			cfg.Contract = bytes.Replace(openapi.Document, []byte(change[0]), []byte(change[1]), 1)
			if bytes.Equal(cfg.Contract, openapi.Document) {
				t.Fatal("the contract has changed; so must this test")
			}
			if _, err := api.New(cfg); err == nil {
				t.Error("the server starts with an operation that the contract lacks")
			}
		})
	}
}
