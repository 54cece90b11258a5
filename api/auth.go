package api

import (
	"crypto/ed25519"
	"crypto/hmac"
	"crypto/sha256"
	"errors"
	"net/http"
	"strings"
	"time"

	"github.com/golang-jwt/jwt/v5"
	"github.com/google/uuid"
)

// setupSubject is the subject of the setup code's tokens.
const setupSubject = "setup"

const (
	tokenType = "at+jwt" // RFC 9068; tokens of another kind can never pass for ours
	clientID  = "wetside"
	clockSkew = 30 * time.Second
)

// claims are what an access token says (RFC 9068). Roles are not among them:
// they are read from the database at each request, so that taking one away
// works at once.
type claims struct {
	jwt.RegisteredClaims
	Lab      string `json:"lab,omitempty"`
	ClientID string `json:"client_id"`
	Scope    string `json:"scope"`
}

// A mint makes and reads access tokens: JWTs signed with Ed25519 alone.
type mint struct {
	key              ed25519.PrivateKey
	issuer, audience string
	lifetime         time.Duration
}

// issue makes a token for a member of a lab, or for the setup code.
func (m mint) issue(subject, labID string, now time.Time) (string, error) {
	t := jwt.NewWithClaims(jwt.SigningMethodEdDSA, claims{
		RegisteredClaims: jwt.RegisteredClaims{
			Issuer:    m.issuer,
			Subject:   subject,
			Audience:  jwt.ClaimStrings{m.audience},
			IssuedAt:  jwt.NewNumericDate(now),
			ExpiresAt: jwt.NewNumericDate(now.Add(m.lifetime)),
			ID:        uuid.NewString(),
		},
		Lab: labID, ClientID: clientID, Scope: clientID,
	})
	t.Header["typ"] = tokenType
	return t.SignedString(m.key)
}

// read takes the token out of a request's Authorization header. It fails with
// 401, saying what is wrong.
func (m mint) read(header http.Header, now time.Time) (claims, error) {
	given := header.Values("Authorization")
	if len(given) == 0 {
		return claims{}, unauthenticated("", "this takes a bearer token in the Authorization header")
	}
	scheme, text, _ := strings.Cut(given[0], " ")
	if len(given) > 1 || !strings.EqualFold(scheme, "Bearer") || text == "" {
		return claims{}, unauthenticated("invalid_request", "want one Authorization header of the form Bearer TOKEN")
	}
	var c claims
	parser := jwt.NewParser(
		jwt.WithValidMethods([]string{jwt.SigningMethodEdDSA.Alg()}),
		jwt.WithIssuer(m.issuer),
		jwt.WithAudience(m.audience),
		jwt.WithExpirationRequired(),
		jwt.WithIssuedAt(),
		jwt.WithLeeway(clockSkew),
		jwt.WithStrictDecoding(),
		jwt.WithTimeFunc(func() time.Time { return now }),
	)
	_, err := parser.ParseWithClaims(strings.TrimSpace(text), &c, func(t *jwt.Token) (any, error) {
		if typ, _ := t.Header["typ"].(string); !strings.EqualFold(typ, tokenType) {
			return nil, jwt.ErrTokenUnverifiable
		}
		return m.key.Public(), nil
	})
	switch {
	case errors.Is(err, jwt.ErrTokenExpired):
		return claims{}, unauthenticated("invalid_token", "the token has expired")
	case err != nil, c.Subject == "", (c.Subject == setupSubject) != (c.Lab == ""):
		return claims{}, unauthenticated("invalid_token", "the token is not one of ours")
	}
	return c, nil
}

// derived is a key for another purpose than signing tokens, made of the same
// secret: every replica has it, and none can be told from another's output.
func (m mint) derived(purpose string) []byte {
	mac := hmac.New(sha256.New, m.key.Seed())
	mac.Write([]byte("wetside " + purpose))
	return mac.Sum(nil)
}
