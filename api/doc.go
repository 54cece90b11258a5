// Package api is Wetside's HTTP interface and HTTP alone: what a request must
// look like, who may make it, the transaction it runs in, and what an answer
// looks like. What is decided stands in the packages below it.
//
// # One table
//
// Everything that can be asked of Wetside is a row of one table of operations
// (method, path, who may, what handles it). The table drives routing,
// authorization and metrics labels, and New holds it against the contract
// (openapi/wetside.yaml): an operation that the contract lacks keeps the server
// from starting, and one of the contract without a handler fails the tests.
//
// A request passes these gates in this order: token, body read whole, then in
// one transaction lab and member, role, idempotency key, shape against the
// contract, preconditions, handler. The transaction is retried from its start
// when PostgreSQL asks for that, so handlers have no effect outside it.
//
// # What handlers see
//
// Handlers are plain functions of a context, a transaction, a lab.Scope and a
// Request; they know neither Echo nor net/http. Echo stands in edge.go alone,
// so that a move to its next major version is a mechanical one.
package api
