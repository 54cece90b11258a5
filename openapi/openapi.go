// Package openapi holds the contract, wetside.yaml (OpenAPI 3.1), and the
// reference page for people that is made of it.
package openapi

import _ "embed"

// Document is the contract as it is served at /openapi.yaml. It is not to be
// changed.
//
//go:embed wetside.yaml
var Document []byte
