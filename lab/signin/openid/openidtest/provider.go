// Package openidtest is an OpenID provider for tests: it says where its keys
// are, publishes them, and signs whatever a test wants signed.
package openidtest

import (
	"context"
	"crypto"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"encoding/json"
	"encoding/pem"
	"net/http"
	"net/http/httptest"
	"sync"
	"testing"
	"time"

	"github.com/MicahParks/jwkset"
	"github.com/golang-jwt/jwt/v5"
)

// A Provider listens on loopback until the test ends. Its first key is of P-256
// and has the id "first".
type Provider struct {
	Issuer string

	mu     sync.Mutex
	status int
	says   [2]string
	keys   map[string]crypto.Signer
	set    jwkset.Storage
}

// Start starts a provider.
func Start(t testing.TB) *Provider {
	t.Helper()
	p := &Provider{status: http.StatusOK, keys: map[string]crypto.Signer{}, set: jwkset.NewMemoryStorage()}
	mux := http.NewServeMux()
	mux.HandleFunc("/.well-known/openid-configuration", func(w http.ResponseWriter, _ *http.Request) {
		p.mu.Lock()
		defer p.mu.Unlock()
		w.WriteHeader(p.status)
		_ = json.NewEncoder(w).Encode(map[string]string{"issuer": p.says[0], "jwks_uri": p.says[1]})
	})
	mux.HandleFunc("/keys", func(w http.ResponseWriter, r *http.Request) {
		p.mu.Lock()
		defer p.mu.Unlock()
		w.WriteHeader(p.status)
		text, err := p.set.JSONWithOptions(r.Context(), jwkset.JWKMarshalOptions{Private: false}, jwkset.JWKValidateOptions{SkipAll: true})
		if err != nil {
			t.Error(err)
		}
		_, _ = w.Write(text)
	})
	listening := httptest.NewServer(mux)
	t.Cleanup(listening.Close)
	p.Issuer = listening.URL
	p.says = [2]string{p.Issuer, p.Issuer + "/keys"}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	p.Add("first", key)
	return p
}

// Add publishes another key.
func (p *Provider) Add(kid string, key crypto.Signer) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.keys[kid] = key
	p.write(kid, key.Public())
}

// AddShared puts a symmetric key into the set, as no provider should.
func (p *Provider) AddShared(kid string, secret []byte) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.write(kid, secret)
}

func (p *Provider) write(kid string, key any) {
	jwk, err := jwkset.NewJWKFromKey(key, jwkset.JWKOptions{Metadata: jwkset.JWKMetadataOptions{KID: kid}, Marshal: jwkset.JWKMarshalOptions{Private: true}})
	if err == nil {
		err = p.set.KeyWrite(context.Background(), jwk)
	}
	if err != nil {
		panic(err)
	}
}

// Answer has the provider answer everything with a status.
func (p *Provider) Answer(status int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.status = status
}

// Says has discovery name another issuer and key set.
func (p *Provider) Says(issuer, keys string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.says = [2]string{issuer, keys}
}

// Claims are those of an ID token for somebody with a verified address, made at now.
func (p *Provider) Claims(audience, subject string, now time.Time) jwt.MapClaims {
	return jwt.MapClaims{
		"iss": p.Issuer, "aud": audience, "sub": subject, "iat": now.Unix(), "exp": now.Add(5 * time.Minute).Unix(),
		"email": subject + "@example.org", "email_verified": true,
	}
}

// Sign signs claims by the first key.
func (p *Provider) Sign(t testing.TB, c jwt.MapClaims) string {
	t.Helper()
	return p.SignBy(t, "first", jwt.SigningMethodES256, c, nil)
}

// SignBy signs claims by a key, with changes of the header; nil takes a name away.
func (p *Provider) SignBy(t testing.TB, kid string, method jwt.SigningMethod, c jwt.MapClaims, header map[string]any) string {
	t.Helper()
	token := jwt.NewWithClaims(method, c)
	token.Header["kid"] = kid
	for name, v := range header {
		token.Header[name] = v
		if v == nil {
			delete(token.Header, name)
		}
	}
	text, err := token.SignedString(p.keys[kid])
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// PublicText is the first key's public part as PEM.
func (p *Provider) PublicText(t testing.TB) []byte {
	t.Helper()
	der, err := x509.MarshalPKIXPublicKey(p.keys["first"].Public())
	if err != nil {
		t.Fatal(err)
	}
	return pem.EncodeToMemory(&pem.Block{Type: "PUBLIC KEY", Bytes: der})
}
