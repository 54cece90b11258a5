package api

import (
	"context"
	"net/http"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/scheduling"
)

// A handler carries out an operation in the request's transaction. The scope
// has the lab and the member for a member's token; for the setup code's token
// By is zero, and Lab too unless the path names one. Refusals become problem
// details; any other error is answered as internal, without its text.
type handler func(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error)

// An operation is one thing that can be asked of Wetside.
type operation struct {
	// ID is the contract's operationId.
	ID     string
	Method string
	// Path is a route template with :name for parameters.
	Path string
	Who  access
	// Handle carries the operation out.
	Handle handler
	// Stream answers with server-sent events: always, if there is no Handle, or
	// where Accept asks for them.
	Stream streamer
	// IfMatch, where a change needs If-Match, reads the resource whose
	// revision the caller must have seen. Its revision is Request.Version.
	IfMatch handler
	// AsksOnly says of a POST that it changes nothing: it reads one state of the
	// database, and has no first answer to keep.
	AsksOnly bool
	// Prepare, where part of the work takes long and needs no transaction, such as
	// hashing a password, reads in one of its own what that part needs, and gives
	// it. What it comes to is Request.prepared when Handle runs.
	Prepare func(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (work, error)
	// Secret operations neither store nor replay answers: they hand out tokens.
	Secret bool
	// Stateless operations get no transaction (tx is nil) once the caller is
	// known: for work that would otherwise keep a connection waiting.
	Stateless bool
	// Within caps the time of an operation that may take long, such as
	// planning; few of those run at a time. Zero means the usual cap.
	Within time.Duration
	// Plain handlers answer by themselves, without token or transaction.
	Plain func(w http.ResponseWriter, r *http.Request) error
}

// A work is done between transactions.
type work func(context.Context) (any, error)

// stays is a no that a handler gives although what it wrote is to stay, such as
// the count of wrong passwords.
type stays struct{ error }

// prepared makes a Prepare of a function that takes the request's decoded body.
func prepared[T any](f func(context.Context, pgx.Tx, lab.Scope, Request, T) (work, error)) func(context.Context, pgx.Tx, lab.Scope, Request) (work, error) {
	return func(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (work, error) {
		var in T
		if err := decodeInto(r.body, &in); err != nil {
			return nil, err
		}
		return f(ctx, tx, s, r, in)
	}
}

// access is who may ask for an operation.
type access struct {
	public  bool       // anybody, without a token
	setup   bool       // the setup code's token
	member  bool       // any member
	holding []lab.Role // members who hold one of these roles
}

var (
	nobody   = access{public: true}
	anyToken = access{setup: true, member: true}
	setup    = access{setup: true}
	members  = access{member: true}
)

// holders are members with one of the roles.
func holders(roles ...lab.Role) access { return access{holding: roles} }

// orSetup lets the setup code's token in as well.
func (a access) orSetup() access {
	a.setup = true
	return a
}

// admits says whether a member may ask.
func (a access) admits(m lab.Member) bool { return a.member || m.Has(a.holding...) }

// operations is the whole table.
func (a *API) operations() []operation {
	var all []operation
	for _, part := range [][]operation{
		a.serviceOperations(),
		a.tokenOperations(),
		a.signInOperations(),
		a.passwordOperations(),
		a.invitationOperations(),
		a.providerOperations(),
		a.labOperations(),
		a.memberOperations(),
		certificationOperations(),
		auditOperations(),
		personalOperations(),
		equipmentOperations(),
		filmOperations(),
		handbookOperations(),
		kitOperations(),
		bathOperations(),
		rollOperations(),
		calendarOperations(),
		sessionOperations(),
		a.boardOperations(),
		messageOperations(),
		a.hookOperations(),
		a.feedOperations(),
		bookingOperations(),
		waitingOperations(),
		directionOperations(),
		planOperations(),
		batchOperations(),
		moneyOperations(),
		statementOperations(),
		paymentOperations(),
		termsOperations(),
	} {
		all = append(all, part...)
	}
	return all
}

// body makes a handler of a function that takes the request's decoded body.
// The body has been held against the contract before.
func body[T any](f func(context.Context, pgx.Tx, lab.Scope, Request, T) (Answer, error)) handler {
	return func(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
		var in T
		if err := decodeInto(r.body, &in); err != nil {
			return Answer{}, err
		}
		return f(ctx, tx, s, r, in)
	}
}

// freeing makes a handler that, having changed what planning depends on and so
// locked the lab, offers what may have come free to those who wait for it.
func freeing(h handler) handler {
	return func(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
		answer, err := h(ctx, tx, s, r)
		if err != nil {
			return Answer{}, err
		}
		return answer, scheduling.OfferPlaces(ctx, tx, s)
	}
}

// writes says whether the operation may change something.
func (o operation) writes() bool { return o.Method != http.MethodGet && !o.AsksOnly }
