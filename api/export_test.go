package api

import (
	"context"
	"crypto/ed25519"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/database"
)

// A TestOperation is one that any member may ask for, outside the contract.
type TestOperation struct {
	Method, Path string
	Handle       func(context.Context, pgx.Tx, lab.Scope, Request) (Answer, error)
	Within       time.Duration
}

// AddForTest adds operations.
func (a *API) AddForTest(added ...TestOperation) {
	table := a.operations()
	for _, t := range added {
		op := operation{ID: "test " + t.Method + t.Path, Method: t.Method, Path: t.Path, Who: members, Handle: t.Handle, Within: t.Within}
		a.contract.shapes[op.ID] = &shape{method: t.Method, path: t.Path}
		table = append(table, op)
	}
	a.handler = a.edge(table)
}

// Unserved lists the contract's operations without a handler.
func (a *API) Unserved() []string {
	left := maps.Clone(a.contract.shapes)
	for _, op := range a.operations() {
		delete(left, op.ID)
	}
	return slices.Sorted(maps.Keys(left))
}

// ParseJSON is the strict decoder.
func ParseJSON(data []byte) (any, error) { return parseJSON(data) }

// PageOf reads a list's query with a known key.
func PageOf(path string, query url.Values) (lab.Page, error) {
	return pager{key: []byte("key")}.pageOf(path, query)
}

// SignCursor makes a cursor with the same key.
func SignCursor(path string, query url.Values, after string) string {
	return pager{key: []byte("key")}.sign(path, query, after)
}

// Precondition holds If-Match against a revision.
func Precondition(tags []string, revision int64) error {
	return precondition(http.Header{"If-Match": tags}, revision)
}

// SigningKey is the key that signs tokens now, made if there is none.
func (a *API) SigningKey(ctx context.Context) (kid string, key ed25519.PrivateKey, err error) {
	err = a.store.InTx(ctx, database.Writing, "", func(tx pgx.Tx) error {
		kid, key, err = a.mint.keys.signer(ctx, tx, instant(a.clock()))
		return err
	})
	return kid, key, err
}

// CheckForTest holds a body against an operation's schema.
func (a *API) CheckForTest(id, media string, data []byte) error {
	_, err := a.contract.shapes[id].checkBody(media, data)
	return err
}

// BeatForTest sets how often streams send a comment.
func (a *API) BeatForTest(every time.Duration) { a.heartbeat = every }

// Streams is how many streams are open.
func (a *API) Streams() int { return int(a.streams.count()) }

// Impatient makes transactions begin again without a pause.
func (a *API) Impatient(onPause func(try int)) {
	a.store.Pause = func(ctx context.Context, try int) error {
		onPause(try)
		return ctx.Err()
	}
}

// AcquireWait is how long a request waits for a connection.
const AcquireWait time.Duration = database.AcquireWait

// ProblemTypes are the codes of all problem types and their status.
func ProblemTypes() map[string]int {
	all := map[string]int{}
	for _, t := range problemTypes {
		all[t.Code] = t.Status
	}
	return all
}

// Rehearse says whether nothing stays of what requests change from now on.
func (a *API) Rehearse(on bool) { a.store.Rehearse = on }

// May is whom the table of operations lets in, by operationId, in the words of
// the contract's security.
func (a *API) May() map[string][]string {
	all := map[string][]string{}
	for _, op := range a.operations() {
		var words []string
		if op.Who.public {
			words = append(words, "anyone")
		}
		if op.Who.setup {
			words = append(words, "setup")
		}
		if op.Who.member {
			words = append(words, "member")
		}
		for _, role := range op.Who.holding {
			words = append(words, string(role))
		}
		all[op.ID] = words
	}
	return all
}
