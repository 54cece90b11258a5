package api

import (
	"context"
	"net/http"
	"regexp"

	"github.com/google/uuid"
)

// An identity names one request. own is ours alone and stands in problem
// details; given is what the caller calls the request, if that is short and
// plain enough to stand in logs and headers, else the same as own.
type identity struct{ own, given string }

var requestIDText = regexp.MustCompile(`^[A-Za-z0-9._-]{1,64}$`)

// identify makes a request's identity: a UUIDv7, which sorts by time in logs.
func identify(header http.Header) identity {
	id := uuid.Must(uuid.NewV7()).String() // fails only where the system has no randomness
	if given := header.Get("X-Request-Id"); requestIDText.MatchString(given) {
		return identity{own: id, given: given}
	}
	return identity{own: id, given: id}
}

type identityKey struct{}

// named gives a request the context in which identityOf finds its identity.
func (id identity) named(r *http.Request) *http.Request {
	return r.WithContext(context.WithValue(r.Context(), identityKey{}, id))
}

// identityOf is the identity of the request that ctx is of.
func identityOf(ctx context.Context) identity {
	id, _ := ctx.Value(identityKey{}).(identity)
	return id
}
