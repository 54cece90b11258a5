package api

import (
	"context"
	"errors"
	"net/http"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/signin"
	"wetside/lab/signin/openid"
)

func (a *API) providerOperations() []operation {
	return []operation{
		{ID: "signInByProvider", Method: http.MethodPost, Path: "/v1/labs/:lab/provider-sign-ins", Who: nobody, Secret: true,
			Prepare: prepared(a.judgeIDToken), Handle: body(a.signInByProvider)},
	}
}

type providerSignIn struct {
	IDToken string `json:"id_token"`
	Device  string `json:"device"`
}

func errNoProvider() error {
	return lab.Refuse(lab.Conflict, "no-provider", "this lab has no OpenID provider")
}

// person reads an ID token. It fails with 401, or with 503 where the provider's
// keys are not to be had.
func (a *API) person(ctx context.Context, idToken string, clock time.Time) (signin.Person, error) {
	p, err := a.provider.Verify(ctx, idToken, clock)
	switch {
	case errors.Is(err, openid.ErrToken):
		return p, unauthenticated("", "the ID token is not the provider's for this server, or has expired")
	case errors.Is(err, openid.ErrAway):
		a.log.Warn("the OpenID provider cannot be asked for its keys", "error", err.Error())
		return p, lab.Refuse(lab.Unavailable, "provider-away", "the OpenID provider does not answer; try again shortly")
	}
	return p, err
}

func (a *API) judgeIDToken(_ context.Context, _ pgx.Tx, s lab.Scope, r Request, in providerSignIn) (work, error) {
	if !a.provider.Serves(s.Lab.ID) {
		return nil, errNoProvider()
	}
	return func(ctx context.Context) (any, error) { return a.person(ctx, in.IDToken, r.Clock) }, nil
}

// signInByProvider trades the provider's ID token for tokens of ours, so that
// signing out, roles and the list of devices are the same however one came in.
func (a *API) signInByProvider(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in providerSignIn) (Answer, error) {
	p, _ := r.prepared.(signin.Person)
	if err := takeIDToken(ctx, tx, s.Lab.ID, in.IDToken, p); err != nil {
		return Answer{}, err
	}
	m, ok, err := signin.MemberOf(ctx, tx, s.Lab.ID, p, r.Clock)
	if err != nil {
		return Answer{}, err
	}
	if !ok {
		return Answer{}, lab.Refuse(lab.Forbidden, "not-a-member",
			"the provider knows you, the lab does not, or not by an address that the provider has verified; ask to be invited")
	}
	return reply(a.begin(ctx, tx, r, s.Lab.ID, m.ID, signin.ByProvider, in.Device))
}

func takeIDToken(ctx context.Context, tx pgx.Tx, labID, idToken string, p signin.Person) error {
	ok, err := signin.TakeToken(ctx, tx, labID, idToken, p)
	if err == nil && !ok {
		err = unauthenticated("", "this ID token was used before; sign in at the provider again")
	}
	return err
}

// bind says that who accepts an invitation is the person of an ID token.
func (a *API) bind(ctx context.Context, tx pgx.Tx, labID, memberID, idToken string, p signin.Person, clock time.Time) error {
	if err := takeIDToken(ctx, tx, labID, idToken, p); err != nil {
		return err
	}
	ok, err := signin.Bind(ctx, tx, labID, memberID, p, clock)
	if err == nil && !ok {
		err = lab.Refuse(lab.Conflict, "member-already", "you are a member of this lab already, by the same provider")
	}
	return err
}
