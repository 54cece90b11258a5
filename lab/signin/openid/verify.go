package openid

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/MicahParks/jwkset"
	"github.com/golang-jwt/jwt/v5"

	"wetside/lab"
	"wetside/lab/signin"
)

// algorithms are those of the JSON Web Algorithms that sign with one key and
// verify with another: never "none", never a shared secret, which a provider's
// public key could be taken for.
var algorithms = []string{"RS256", "RS384", "RS512", "PS256", "PS384", "PS512", "ES256", "ES384", "ES512", "EdDSA"}

const (
	clockSkew = 30 * time.Second
	freshFor  = 10 * time.Minute
	maxToken  = 16 << 10
)

// ErrToken means that a token is not one of the provider's for us, or not any more.
var ErrToken = errors.New("not an ID token that holds")

// claims are what matters of an ID token (OpenID Connect Core 1.0, 2 and 5.1).
type claims struct {
	jwt.RegisteredClaims
	AuthorizedParty string   `json:"azp"`
	Email           string   `json:"email"`
	EmailVerified   verified `json:"email_verified"`
}

// verified is true or "true": some providers write the latter.
type verified bool

func (v *verified) UnmarshalJSON(b []byte) error {
	var flag any
	err := json.Unmarshal(b, &flag)
	*v = flag == true || flag == "true"
	return err
}

// Verify reads an ID token at the real instant now (OpenID Connect Core 1.0,
// 3.1.3.7). It fails with ErrToken, and with ErrAway where the provider's keys
// are not to be had.
func (p *Provider) Verify(ctx context.Context, token string, now time.Time) (signin.Person, error) {
	if len(token) > maxToken {
		return signin.Person{}, ErrToken
	}
	keys, err := p.keySet(ctx)
	if err != nil {
		return signin.Person{}, err
	}
	parser := jwt.NewParser(
		jwt.WithValidMethods(algorithms), jwt.WithIssuer(p.config.Issuer), jwt.WithAudience(p.config.Audience),
		jwt.WithExpirationRequired(), jwt.WithIssuedAt(), jwt.WithLeeway(clockSkew), jwt.WithStrictDecoding(),
		jwt.WithTimeFunc(func() time.Time { return now }),
	)
	var c claims
	_, err = parser.ParseWithClaims(token, &c, func(t *jwt.Token) (any, error) {
		typ, typed := t.Header["typ"].(string)
		_, named := t.Header["kid"].(string)
		_, critical := t.Header["crit"]
		if !named || critical || typed && !strings.EqualFold(typ, "JWT") {
			return nil, jwt.ErrTokenUnverifiable
		}
		return keys.KeyfuncCtx(ctx)(t)
	})
	if err != nil {
		// A key id that is not listed is the token's fault, one that could not be looked up is not.
		if errors.Is(err, context.DeadlineExceeded) && !errors.Is(err, jwkset.ErrKeyNotFound) {
			return signin.Person{}, fmt.Errorf("%w: %w", ErrAway, err)
		}
		return signin.Person{}, fmt.Errorf("%w: %w", ErrToken, err)
	}
	switch {
	case c.Subject == "", len(c.Subject) > 255, c.IssuedAt == nil, now.Sub(c.IssuedAt.Time) > freshFor,
		c.AuthorizedParty != "" && c.AuthorizedParty != p.config.Audience,
		len(c.Audience) > 1 && c.AuthorizedParty == "":
		return signin.Person{}, ErrToken
	}
	who := signin.Person{Issuer: p.config.Issuer, Subject: c.Subject, ExpiresAt: c.ExpiresAt.Time}
	if address, ok := lab.CleanEmail(c.Email); ok && bool(c.EmailVerified) {
		who.Email = address
	}
	return who, nil
}
