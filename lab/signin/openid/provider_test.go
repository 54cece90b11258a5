package openid_test

import (
	"context"
	"crypto"
	"crypto/ecdsa"
	"crypto/ed25519"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/rsa"
	"errors"
	"log/slog"
	"maps"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/golang-jwt/jwt/v5"

	"wetside/lab/signin/openid"
	"wetside/lab/signin/openid/openidtest"
)

const audience = "wetside-at-sallowmere"

func start(t *testing.T, change func(*openid.Config)) (*openidtest.Provider, *openid.Provider) {
	t.Helper()
	theirs := openidtest.Start(t)
	c := openid.Config{Issuer: theirs.Issuer, Audience: audience}
	if change != nil {
		change(&c)
	}
	ours, err := openid.New(t.Context(), c, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	return theirs, ours
}

func TestTokensOfTheProviderAreRead(t *testing.T) {
	t.Parallel()
	theirs, ours := start(t, nil)
	now := time.Now()
	_, edKey, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	ecKey, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	rsaKey, err := rsa.GenerateKey(rand.Reader, 2048)
	if err != nil {
		t.Fatal(err)
	}
	for kid, key := range map[string]crypto.Signer{"ed": edKey, "ec": ecKey, "rsa": rsaKey} {
		theirs.Add(kid, key)
	}
	for kid, method := range map[string]jwt.SigningMethod{
		"first": jwt.SigningMethodES256, "ed": jwt.SigningMethodEdDSA, "ec": jwt.SigningMethodES256, "rsa": jwt.SigningMethodRS256,
	} {
		p, err := ours.Verify(t.Context(), theirs.SignBy(t, kid, method, theirs.Claims(audience, "hana", now), nil), now)
		if err != nil || p.Subject != "hana" || p.Issuer != theirs.Issuer || p.Email != "hana@example.org" {
			t.Errorf("%s: %+v, %v", kid, p, err)
		}
	}
	for name, verified := range map[string]any{"false": false, "missing": nil, "0": 0, "text false": "false", "1": 1} {
		c := theirs.Claims(audience, "hana", now)
		c["email_verified"] = verified
		if p, err := ours.Verify(t.Context(), theirs.Sign(t, c), now); err != nil || p.Email != "" {
			t.Errorf("email_verified %s: %+v, %v", name, p, err)
		}
	}
	c := theirs.Claims(audience, "hana", now)
	c["email_verified"], c["email"] = "true", "Hana@Example.ORG"
	if p, err := ours.Verify(t.Context(), theirs.Sign(t, c), now); err != nil || p.Email != "hana@example.org" {
		t.Errorf("the address is %q, %v", p.Email, err)
	}
}

func TestTokensThatAreNotTheProvidersForUs(t *testing.T) {
	t.Parallel()
	theirs, ours := start(t, nil)
	now := time.Now()
	if _, err := ours.Verify(t.Context(), theirs.Sign(t, theirs.Claims(audience, "hana", now)), now); err != nil {
		t.Fatal(err)
	}
	tokens := map[string]string{"nonsense": "x", "empty": "", "oversized": strings.Repeat("x", 20<<10)}
	for name, change := range map[string]map[string]any{
		"another issuer": {"iss": "https://other.test"}, "another audience": {"aud": "other"}, "no audience": {"aud": nil},
		"no expiry": {"exp": nil}, "expired": {"exp": now.Add(-time.Minute).Unix()}, "issued long ago": {"iat": now.Add(-time.Hour).Unix()},
		"issued ahead": {"iat": now.Add(time.Hour).Unix()}, "never issued": {"iat": nil}, "not before ahead": {"nbf": now.Add(time.Hour).Unix()},
		"nobody": {"sub": ""}, "no subject": {"sub": nil}, "a long subject": {"sub": strings.Repeat("x", 256)},
		"for another party": {"azp": "other"}, "for several, party unnamed": {"aud": []string{audience, "other"}},
	} {
		c := theirs.Claims(audience, "hana", now)
		for k, v := range change {
			c[k] = v
			if v == nil {
				delete(c, k)
			}
		}
		tokens[name] = theirs.Sign(t, c)
	}
	good := theirs.Claims(audience, "hana", now)
	for name, header := range map[string]map[string]any{
		"access token": {"typ": "at+jwt"}, "logout token": {"typ": "logout+jwt"}, "critical": {"crit": []string{"exp"}}, "no kid": {"kid": nil},
		"kid unknown": {"kid": "third"}, "kid a path": {"kid": "../../etc/passwd"},
	} {
		tokens[name] = theirs.SignBy(t, "first", jwt.SigningMethodES256, maps.Clone(good), header)
	}
	none := jwt.NewWithClaims(jwt.SigningMethodNone, good)
	none.Header["kid"] = "first"
	tokens["none"] = signed(t, none, jwt.UnsafeAllowNoneSignatureType)
	hmac := jwt.NewWithClaims(jwt.SigningMethodHS256, good)
	hmac.Header["kid"] = "first"
	tokens["HMAC by their public key"] = signed(t, hmac, theirs.PublicText(t))
	hmac.Header["kid"] = "shared"
	theirs.AddShared("shared", []byte("0123456789abcdef0123456789abcdef"))
	tokens["HMAC by a shared key of the set"] = signed(t, hmac, []byte("0123456789abcdef0123456789abcdef"))
	stranger, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	other := jwt.NewWithClaims(jwt.SigningMethodES256, good)
	other.Header["kid"], other.Header["jku"] = "first", theirs.Issuer+"/keys"
	tokens["another's key"] = signed(t, other, stranger)
	for name, token := range tokens {
		if p, err := ours.Verify(t.Context(), token, now); !errors.Is(err, openid.ErrToken) {
			t.Errorf("%s: %+v, %v", name, p, err)
		}
	}
	t.Logf("%d tokens tried, none taken", len(tokens))
}

func signed(t *testing.T, token *jwt.Token, key any) string {
	t.Helper()
	text, err := token.SignedString(key)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// A provider that is away is told from a token that is wrong, and is asked again.
func TestTheProviderComesAndGoes(t *testing.T) {
	t.Parallel()
	theirs, ours := start(t, nil)
	now := time.Now()
	token := theirs.Sign(t, theirs.Claims(audience, "hana", now))
	theirs.Answer(http.StatusServiceUnavailable)
	if _, err := ours.Verify(t.Context(), token, now); !errors.Is(err, openid.ErrAway) {
		t.Errorf("while it is away: %v", err)
	}
	theirs.Answer(http.StatusOK)
	var err error
	for deadline := time.Now().Add(10 * time.Second); ; time.Sleep(50 * time.Millisecond) {
		if _, err = ours.Verify(t.Context(), token, now); err == nil || time.Now().After(deadline) {
			break
		}
	}
	if err != nil {
		t.Errorf("when it is back: %v", err)
	}
	theirs.Answer(http.StatusServiceUnavailable) // its keys are known by now
	if _, err := ours.Verify(t.Context(), token, now); err != nil {
		t.Errorf("with its keys known: %v", err)
	}
}

func TestDiscoveryIsNotBelievedBlindly(t *testing.T) {
	t.Parallel()
	theirs, ours := start(t, nil)
	theirs.Says("https://other.test", "")
	now := time.Now()
	if _, err := ours.Verify(t.Context(), theirs.Sign(t, theirs.Claims(audience, "hana", now)), now); !errors.Is(err, openid.ErrAway) {
		t.Errorf("discovery for another issuer: %v", err)
	}
	theirs, ours = start(t, nil)
	theirs.Says(theirs.Issuer, "http://attacker.example/keys")
	if _, err := ours.Verify(t.Context(), theirs.Sign(t, theirs.Claims(audience, "hana", now)), now); !errors.Is(err, openid.ErrAway) {
		t.Errorf("keys without TLS elsewhere: %v", err)
	}
	theirs, ours = start(t, func(c *openid.Config) { c.KeysURL = c.Issuer + "/keys" })
	theirs.Says("https://other.test", "") // nobody asks
	if _, err := ours.Verify(t.Context(), theirs.Sign(t, theirs.Claims(audience, "hana", now)), now); err != nil {
		t.Errorf("with the key set's address given: %v", err)
	}
}

func TestConfigurationsThatCannotBe(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]openid.Config{
		"nothing": {}, "no audience": {Issuer: "https://id.example.org"}, "no TLS": {Issuer: "http://id.example.org", Audience: "x"},
		"no address": {Issuer: "id", Audience: "x"}, "a password": {Issuer: "https://u:p@id.example.org", Audience: "x"},
		"keys without TLS": {Issuer: "https://id.example.org", Audience: "x", KeysURL: "http://id.example.org/keys"},
	} {
		if _, err := openid.New(context.Background(), c, slog.New(slog.DiscardHandler)); err == nil {
			t.Errorf("%s is taken", name)
		}
	}
	one, err := openid.New(context.Background(), openid.Config{Issuer: "https://id.example.org", Audience: "x", Labs: []string{"lab_1"}}, slog.New(slog.DiscardHandler))
	if err != nil || !one.Serves("lab_1") || one.Serves("lab_2") {
		t.Errorf("a provider of one lab serves others, %v", err)
	}
	if (*openid.Provider)(nil).Serves("lab_1") {
		t.Error("no provider serves")
	}
}
