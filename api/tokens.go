package api

import (
	"context"
	"crypto/sha256"
	"crypto/subtle"
	"net/http"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/database"
	"wetside/lab/signin"
)

func (a *API) tokenOperations() []operation {
	return []operation{
		{ID: "createToken", Method: http.MethodPost, Path: "/v1/tokens", Who: nobody, Secret: true, Handle: body(a.createToken)},
		{ID: "renewToken", Method: http.MethodPost, Path: "/v1/labs/:lab/token-renewals", Who: nobody, Secret: true, Handle: body(a.renewToken)},
	}
}

type tokenRequest struct {
	Code   string `json:"code"`
	Device string `json:"device"`
}

type renewal struct {
	RefreshToken string `json:"refresh_token"`
}

// A token is what somebody who signs in is given (the fields of RFC 6749). The
// setup code's has no refresh token: the code can be traded again.
type token struct {
	AccessToken      string     `json:"access_token"`
	TokenType        string     `json:"token_type"`
	ExpiresIn        int64      `json:"expires_in"` // seconds
	RefreshToken     string     `json:"refresh_token,omitempty"`
	RefreshExpiresAt *time.Time `json:"refresh_expires_at,omitempty"`
	Lab              string     `json:"lab,omitempty"`
	Member           string     `json:"member,omitempty"`
	SignIn           string     `json:"sign_in,omitempty"`
}

// createToken trades a member's sign-in code, which is used up, or the setup
// code for a token.
func (a *API) createToken(ctx context.Context, tx pgx.Tx, _ lab.Scope, r Request, in tokenRequest) (Answer, error) {
	if a.isSetupCode(in.Code) {
		text, err := a.mint.issue(ctx, tx, setupSubject, "", "", r.Clock)
		return reply(token{AccessToken: text, TokenType: "Bearer", ExpiresIn: a.mint.seconds()}, err)
	}
	got, ok, err := lab.Redeem(ctx, tx, in.Code, r.Clock)
	if err != nil {
		return Answer{}, err
	}
	if !ok {
		return Answer{}, unauthenticated("", "the code is unknown, used or expired; ask for a new one")
	}
	if err := database.InLab(ctx, tx, got.Lab.ID); err != nil {
		return Answer{}, err
	}
	how := signin.ByCode
	if got.Mailed {
		how = signin.ByMail
	}
	return reply(a.begin(ctx, tx, r, got.Lab.ID, got.Member.ID, how, in.Device))
}

// begin signs a member in.
func (a *API) begin(ctx context.Context, tx pgx.Tx, r Request, labID, memberID string, how signin.Method, device string) (token, error) {
	g, err := signin.Begin(ctx, tx, labID, memberID, how, device, r.Clock, a.random)
	if err != nil {
		return token{}, err
	}
	return a.granted(ctx, tx, r, labID, g)
}

// granted makes what a member is given of what they were granted.
func (a *API) granted(ctx context.Context, tx pgx.Tx, r Request, labID string, g signin.Grant) (token, error) {
	text, err := a.mint.issue(ctx, tx, g.MemberID, labID, g.SignIn, r.Clock)
	return token{
		AccessToken: text, TokenType: "Bearer", ExpiresIn: a.mint.seconds(),
		RefreshToken: g.Refresh, RefreshExpiresAt: &g.Until, Lab: labID, Member: g.MemberID, SignIn: g.SignIn,
	}, err
}

// seconds is how long an access token works.
func (m mint) seconds() int64 { return int64(m.lifetime.Seconds()) }

// renewToken trades a refresh token for the next one, and a new access token. One
// that comes twice ends its sign-in, and that stays.
func (a *API) renewToken(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in renewal) (Answer, error) {
	g, ok, err := signin.Renew(ctx, tx, s.Lab.ID, in.RefreshToken, r.Clock, a.random)
	if err != nil {
		return Answer{}, err
	}
	if !ok {
		return Answer{}, &stays{unauthenticated("", "the refresh token is unknown, used or expired, or its sign-in was ended; sign in again")}
	}
	return reply(a.granted(ctx, tx, r, s.Lab.ID, g))
}

// isSetupCode compares in constant time, so that the code cannot be guessed
// letter by letter.
func (a *API) isSetupCode(code string) bool {
	want, got := sha256.Sum256([]byte(a.setupCode)), sha256.Sum256([]byte(code))
	return a.setupCode != "" && subtle.ConstantTimeCompare(want[:], got[:]) == 1
}
