package api_test

import (
	"bytes"
	"strings"
	"testing"

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
