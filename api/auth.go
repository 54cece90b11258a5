package api

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"net/http"
	"strings"
	"time"

	"github.com/golang-jwt/jwt/v5"
	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// setupSubject is the subject of the setup code's tokens.
const setupSubject = "setup"

const (
	tokenType = "at+jwt" // RFC 9068; tokens of another kind can never pass for ours
	clientID  = "wetside"
	clockSkew = 30 * time.Second
	maxToken  = 4 << 10 // bytes; ours have some six hundred
)

// claims are what an access token says (RFC 9068). Roles are not among them:
// they are read from the database at each request, so that taking one away
// works at once. So is whether the sign-in still stands.
type claims struct {
	jwt.RegisteredClaims
	Lab      string `json:"lab,omitempty"`
	SignIn   string `json:"sid,omitempty"`
	ClientID string `json:"client_id"`
	Scope    string `json:"scope"`
}

// A mint makes and reads access tokens: JWTs signed with Ed25519 alone.
type mint struct {
	keys             *keyring
	secret           []byte
	issuer, audience string
	lifetime         time.Duration
}

// issue makes a token for a member's sign-in, or for the setup code.
func (m mint) issue(ctx context.Context, tx pgx.Tx, subject, labID, signIn string, now time.Time) (string, error) {
	id, key, err := m.keys.signer(ctx, tx, now)
	if err != nil {
		return "", err
	}
	t := jwt.NewWithClaims(jwt.SigningMethodEdDSA, claims{
		RegisteredClaims: jwt.RegisteredClaims{
			Issuer:    m.issuer,
			Subject:   subject,
			Audience:  jwt.ClaimStrings{m.audience},
			IssuedAt:  jwt.NewNumericDate(now),
			ExpiresAt: jwt.NewNumericDate(now.Add(m.lifetime)),
			ID:        uuid.NewString(),
		},
		Lab: labID, SignIn: signIn, ClientID: clientID, Scope: clientID,
	})
	t.Header["typ"], t.Header["kid"] = tokenType, id
	return t.SignedString(key)
}

// read takes the token out of a request's Authorization header. It fails with
// 401, saying what is wrong.
func (m mint) read(ctx context.Context, header http.Header, now time.Time) (claims, error) {
	given := header.Values("Authorization")
	if len(given) == 0 {
		return claims{}, unauthenticated("", "this takes a bearer token in the Authorization header")
	}
	scheme, text, _ := strings.Cut(given[0], " ")
	text = strings.TrimSpace(text)
	if len(given) > 1 || !strings.EqualFold(scheme, "Bearer") || text == "" {
		return claims{}, unauthenticated("invalid_request", "want one Authorization header of the form Bearer TOKEN")
	}
	var c claims
	kid, ok := keyOf(text)
	if !ok {
		return claims{}, errNotOurs()
	}
	key, ok, err := m.keys.public(ctx, kid, now)
	if err != nil {
		return claims{}, err
	}
	if !ok {
		return claims{}, errNotOurs()
	}
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
	_, err = parser.ParseWithClaims(text, &c, func(*jwt.Token) (any, error) { return key, nil })
	switch {
	case errors.Is(err, jwt.ErrTokenExpired):
		return claims{}, unauthenticated("invalid_token", "the token has expired")
	case err != nil, !c.ours():
		return claims{}, errNotOurs()
	}
	return c, nil
}

// ours says whether the claims are such as issue makes.
func (c claims) ours() bool {
	member := c.Lab != "" && c.SignIn != ""
	setup := c.Lab == "" && c.SignIn == "" && c.Subject == setupSubject
	return c.Subject != "" && c.IssuedAt != nil && c.ID != "" && c.ClientID == clientID &&
		(setup || member && c.Subject != setupSubject)
}

func errNotOurs() error { return unauthenticated("invalid_token", "the token is not one of ours") }

// keyOf is the key id in a token's header. ok is false unless the token is one
// that we could have made: three parts in unpadded base64url, JSON objects
// without a name twice, instants as numbers, the one algorithm and the type to the letter, and
// nothing that asks to be understood (crit) or brings a key along. A key is only
// ever found among ours, by its id.
func keyOf(token string) (kid string, ok bool) {
	parts := strings.Split(token, ".")
	if len(token) > maxToken || len(parts) != 3 || parts[2] == "" {
		return "", false
	}
	header, ok := segment(parts[0])
	if !ok {
		return "", false
	}
	payload, ok := segment(parts[1])
	if !ok {
		return "", false
	}
	for _, name := range []string{"exp", "nbf", "iat"} { // the library takes "1" for 1
		if v, given := payload[name]; given {
			if _, ok := v.(json.Number); !ok {
				return "", false
			}
		}
	}
	for name := range header {
		if name != "alg" && name != "typ" && name != "kid" {
			return "", false
		}
	}
	kid, _ = header["kid"].(string)
	return kid, header["alg"] == jwt.SigningMethodEdDSA.Alg() && header["typ"] == tokenType && kid != ""
}

// segment reads a part of a token as strictly as a request's body.
func segment(part string) (map[string]any, bool) {
	text, err := base64.RawURLEncoding.Strict().DecodeString(part)
	if err != nil {
		return nil, false
	}
	value, err := parseJSON(text)
	object, ok := value.(map[string]any)
	return object, ok && err == nil
}

// signingKeys is what the key is derived for that seals them.
const signingKeys = "signing keys"

func (m mint) derived(purpose string) []byte { return derived(m.secret, purpose) }

// derived is a key for one purpose, made of the installation's secret: every
// replica has it, and none can be told from another's output.
func derived(secret []byte, purpose string) []byte {
	mac := hmac.New(sha256.New, secret)
	mac.Write([]byte("wetside " + purpose))
	return mac.Sum(nil)
}
