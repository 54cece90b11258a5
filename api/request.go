package api

import (
	"net/url"
	"time"

	"wetside/lab"
)

// A Request is what a handler may know of a request beyond its body and scope.
type Request struct {
	// Setup says that the setup code's token was shown.
	Setup bool
	// SignIn is the id of the sign-in that the member's token is of.
	SignIn string
	// Clock is the real instant, by which tokens and sign-in codes expire; all
	// else goes by the scope's Now, which trial mode lets requests set.
	Clock time.Time

	path    map[string]string
	query   url.Values
	version int64
	page    lab.Page
	body    []byte
	// prepared is what the operation's Prepare came to.
	prepared any
}

// Path is a parameter of the path, which held to the contract.
func (r Request) Path(name string) string { return r.path[name] }

// Query is a parameter of the query, or "" if it was not given.
func (r Request) Query(name string) string { return r.query.Get(name) }

// Queries are all values of a query parameter that may be repeated.
func (r Request) Queries(name string) []string { return r.query[name] }

// Instant is a query parameter that the contract says is a date-time, in UTC
// and whole microseconds; nil if it was not given.
func (r Request) Instant(name string) *time.Time {
	t, err := time.Parse(time.RFC3339, r.Query(name))
	if err != nil {
		return nil
	}
	t = instant(t)
	return &t
}

// Version is the revision that If-Match named, for operations that require it.
func (r Request) Version() int64 { return r.version }

// Page is which part of a list was asked for.
func (r Request) Page() lab.Page { return r.page }

// instant is t as it is stored and answered: UTC, whole microseconds.
func instant(t time.Time) time.Time { return t.UTC().Truncate(time.Microsecond) }
