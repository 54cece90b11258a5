package api

import (
	"context"
	"crypto/sha256"
	"crypto/subtle"
	"net/http"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

func (a *API) tokenOperations() []operation {
	return []operation{
		{ID: "createToken", Method: http.MethodPost, Path: "/v1/tokens", Who: nobody, Secret: true, Handle: body(a.createToken)},
	}
}

type tokenRequest struct {
	Code string `json:"code"`
}

// A token is what a code is traded for (the fields of RFC 6749).
type token struct {
	AccessToken string `json:"access_token"`
	TokenType   string `json:"token_type"`
	ExpiresIn   int64  `json:"expires_in"` // seconds
	Lab         string `json:"lab,omitempty"`
	Member      string `json:"member,omitempty"`
}

// createToken trades a member's sign-in code, which is used up, or the setup
// code for a token.
func (a *API) createToken(ctx context.Context, tx pgx.Tx, _ lab.Scope, r Request, in tokenRequest) (Answer, error) {
	t := token{TokenType: "Bearer", ExpiresIn: int64(a.mint.lifetime.Seconds())}
	subject := setupSubject
	if !a.isSetupCode(in.Code) {
		l, m, ok, err := lab.Redeem(ctx, tx, in.Code, r.Clock)
		if err != nil {
			return Answer{}, err
		}
		if !ok {
			return Answer{}, unauthenticated("", "the code is unknown, used or expired; ask for a new one")
		}
		t.Lab, t.Member, subject = l.ID, m.ID, m.ID
	}
	var err error
	t.AccessToken, err = a.mint.issue(subject, t.Lab, r.Clock)
	return reply(t, err)
}

// isSetupCode compares in constant time, so that the code cannot be guessed
// letter by letter.
func (a *API) isSetupCode(code string) bool {
	want, got := sha256.Sum256([]byte(a.setupCode)), sha256.Sum256([]byte(code))
	return a.setupCode != "" && subtle.ConstantTimeCompare(want[:], got[:]) == 1
}
