package api_test

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/ed25519"
	"crypto/elliptic"
	"crypto/hmac"
	"crypto/rand"
	"crypto/rsa"
	"crypto/sha256"
	"crypto/x509"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"encoding/pem"
	"fmt"
	"maps"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/golang-jwt/jwt/v5"

	"wetside/api/apitest"
	"wetside/lab/signin"
)

// A forge makes tokens that are, but for what a test changes, such as the server
// itself makes them.
type forge struct {
	kid    string
	key    ed25519.PrivateKey
	claims map[string]any
}

func newForge(t *testing.T, s *apitest.Server, c *apitest.Client) forge {
	t.Helper()
	kid, key, err := s.API.SigningKey(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	var was map[string]any
	payload, err := base64.RawURLEncoding.DecodeString(strings.Split(c.Token(), ".")[1])
	if err != nil || json.Unmarshal(payload, &was) != nil {
		t.Fatal("the server's own token cannot be read")
	}
	return forge{kid, key, was}
}

func b64(text []byte) string { return base64.RawURLEncoding.EncodeToString(text) }

// raw signs header and payload as they are with our key.
func (f forge) raw(header, payload string) string {
	input := b64([]byte(header)) + "." + b64([]byte(payload))
	return input + "." + b64(ed25519.Sign(f.key, []byte(input)))
}

func (f forge) header(change map[string]any) string {
	h := map[string]any{"alg": "EdDSA", "typ": "at+jwt", "kid": f.kid}
	return with(h, change)
}

func (f forge) payload(change map[string]any) string { return with(maps.Clone(f.claims), change) }

// with is an object with changes, where nil takes a name away.
func with(object, change map[string]any) string {
	for name, v := range change {
		object[name] = v
		if v == nil {
			delete(object, name)
		}
	}
	text, _ := json.Marshal(object) // of texts and numbers
	return string(text)
}

func (f forge) withHeader(change map[string]any) string {
	return f.raw(f.header(change), f.payload(nil))
}
func (f forge) withClaims(change map[string]any) string {
	return f.raw(f.header(nil), f.payload(change))
}

// TestTokenAttacks sends tokens that are forged or bent in every way that is
// known to have worked somewhere (RFC 8725, RFC 9068), each with our own key
// where that is possible, so that what is tried is the rule and not the
// signature. None gets in, and none is repeated in the answer.
func TestTokenAttacks(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	other := s.Found(t, "Quarrow Film Co-op")
	f := newForge(t, s, keeper)
	keeper.WithToken(f.withClaims(nil)).Get(keeper.Path()).Want(http.StatusOK) // the forge works

	attacks := map[string]string{}
	for _, more := range []map[string]string{
		algorithmAttacks(t, f), headerAttacks(f), claimAttacks(f, other), shapeAttacks(f, keeper.Token()), vectorAttacks(),
	} {
		for name, token := range more {
			if _, twice := attacks[name]; twice {
				t.Errorf("%q is there twice", name)
			}
			attacks[name] = token
		}
	}
	// With another lab's id in the token that lab is asked for its members.
	keeper.WithToken(f.withClaims(map[string]any{"lab": other.LabID})).Get(other.Path()).WantProblem(http.StatusUnauthorized, "unauthenticated")
	attacks["refresh token as access token"] = signedIn(t, s, keeper, keeper.MemberID).RefreshToken
	for name, token := range attacks {
		r := keeper.For(t).WithToken(token).Get(keeper.Path())
		if r.Status != http.StatusUnauthorized {
			t.Errorf("%s: answered %d", name, r.Status)
			continue
		}
		p := r.WantProblem(http.StatusUnauthorized, "unauthenticated")
		if got := r.Header("WWW-Authenticate"); !strings.HasPrefix(got, `Bearer realm="wetside", error="invalid_`) {
			t.Errorf("%s: WWW-Authenticate is %q", name, got)
		}
		if strings.Contains(string(r.Body), token) || strings.Contains(p.Detail, f.kid) {
			t.Errorf("%s: the token is repeated", name)
		}
	}
	keeper.Get(keeper.Path()).Want(http.StatusOK) // and the real one still works
	t.Logf("%d attacks tried, none got in", len(attacks)+1)
	if len(attacks) < 90 {
		t.Error("attacks are missing")
	}

	none := s.Anyone(t).Get(keeper.Path())
	none.WantProblem(http.StatusUnauthorized, "unauthenticated")
	if got := none.Header("WWW-Authenticate"); got != `Bearer realm="wetside"` {
		t.Errorf("without a token WWW-Authenticate is %q", got)
	}
	for _, header := range []string{"Basic eDp5", "Bearer", "Bearer ", keeper.Token(), "Token " + keeper.Token()} {
		s.Anyone(t).With("Authorization", header).Get(keeper.Path()).Want(http.StatusUnauthorized)
	}
}

// algorithmAttacks are about alg: none in every spelling, our public key used as
// the secret of an HMAC in every form it could be written, and other algorithms
// under keys of their own.
func algorithmAttacks(t *testing.T, f forge) map[string]string {
	all := map[string]string{}
	for _, alg := range []string{"none", "None", "NONE", "nOnE", "none ", "", "null", "eddsa", "EDDSA", "EdDSA ", "Ed25519", "ED25519"} {
		input := b64([]byte(f.header(map[string]any{"alg": alg}))) + "." + b64([]byte(f.payload(nil)))
		all["alg "+alg+", no signature"] = input + "."
		all["alg "+alg+", two parts"] = input
		all["alg "+alg+", our signature"] = input + "." + b64(ed25519.Sign(f.key, []byte(input)))
	}
	public := f.key.Public().(ed25519.PublicKey)
	der, err := x509.MarshalPKIXPublicKey(public)
	if err != nil {
		t.Fatal(err)
	}
	for name, secret := range map[string][]byte{
		"raw": public, "base64url": []byte(b64(public)), "hex": []byte(hex.EncodeToString(public)), "DER": der,
		"PEM": pem.EncodeToMemory(&pem.Block{Type: "PUBLIC KEY", Bytes: der}), "kid": []byte(f.kid), "empty": nil,
		"JWK": []byte(`{"kty":"OKP","crv":"Ed25519","x":"` + b64(public) + `"}`),
	} {
		input := b64([]byte(f.header(map[string]any{"alg": "HS256"}))) + "." + b64([]byte(f.payload(nil)))
		mac := hmac.New(sha256.New, secret)
		mac.Write([]byte(input))
		all["HMAC by our public key, "+name] = input + "." + b64(mac.Sum(nil))
	}
	ecKey, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	rsaKey, err := rsa.GenerateKey(rand.Reader, 2048)
	if err != nil {
		t.Fatal(err)
	}
	_, stranger, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct {
		method jwt.SigningMethod
		key    any
	}{{jwt.SigningMethodES256, ecKey}, {jwt.SigningMethodRS256, rsaKey}, {jwt.SigningMethodPS256, rsaKey}, {jwt.SigningMethodEdDSA, stranger}} {
		token := jwt.NewWithClaims(row.method, jwt.MapClaims(f.claims))
		token.Header["typ"], token.Header["kid"] = "at+jwt", f.kid
		text, err := token.SignedString(row.key)
		if err != nil {
			t.Fatal(err)
		}
		all["another's key, "+row.method.Alg()] = text
	}
	other := signin.Thumbprint(stranger.Public().(ed25519.PublicKey))
	g := f
	g.key = stranger
	all["another's key under its own kid"] = g.raw(f.header(map[string]any{"kid": other}), f.payload(nil))
	all["another's key brought along as jwk"] = g.raw(f.header(map[string]any{"kid": other,
		"jwk": map[string]any{"kty": "OKP", "crv": "Ed25519", "x": b64(stranger.Public().(ed25519.PublicKey))}}), f.payload(nil))
	return all
}

// headerAttacks are about the other header parameters.
func headerAttacks(f forge) map[string]string {
	all := map[string]string{}
	for name, kid := range map[string]any{
		"path": "../../../../dev/null", "path from the root": "/proc/sys/kernel/randomize_va_space", "SQL": "' OR '1'='1",
		"SQL union": "x' UNION SELECT 'AAAA'::bytea --", "address": "https://attacker.example/key", "command": "key; cat /etc/passwd",
		"NUL": f.kid + "\x00", "blank behind": f.kid + " ", "upper case": strings.ToUpper(f.kid), "wildcard": "%", "empty": "",
		"number": 1, "list": []string{f.kid}, "object": map[string]string{"kid": f.kid}, "missing": nil, "long": strings.Repeat("k", 2000),
	} {
		all["kid: "+name] = f.withHeader(map[string]any{"kid": kid})
	}
	for name, typ := range map[string]any{
		"JWT": "JWT", "missing": nil, "empty": "", "ID token": "id+jwt", "refresh": "rt+jwt", "logout": "logout+jwt",
		"upper case": "AT+JWT", "number": 1, "list": []string{"at+jwt"},
	} {
		all["typ: "+name] = f.withHeader(map[string]any{"typ": typ})
	}
	for name, value := range map[string]any{
		"jku": "https://attacker.example/jwks.json", "x5u": "https://attacker.example/cert.pem", "x5c": []string{"MIIB"}, "x5t": "AAAA",
		"jwk":  map[string]string{"kty": "OKP", "crv": "Ed25519", "x": "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo"},
		"crit": []string{"exp"}, "b64": false, "zip": "DEF", "cty": "JWT", "enc": "A128GCM",
	} {
		all["header "+name] = f.withHeader(map[string]any{name: value})
	}
	twice := func(name, value string) string {
		return strings.Replace(f.header(nil), "{", `{"`+name+`":`+value+`,`, 1)
	}
	all["alg twice, none first"] = f.raw(twice("alg", `"none"`), f.payload(nil))
	all["kid twice"] = f.raw(twice("kid", `"x"`), f.payload(nil))
	all["typ twice"] = f.raw(twice("typ", `"JWT"`), f.payload(nil))
	return all
}

// claimAttacks are about the claims, signed by our own key.
func claimAttacks(f forge, other *apitest.Client) map[string]string {
	now := time.Now()
	all := map[string]string{}
	for name, change := range map[string]map[string]any{
		"another issuer": {"iss": "https://other.test"}, "no issuer": {"iss": nil}, "issuer as prefix": {"iss": "https://wetside.test.attacker.example"},
		"issuers as a list": {"iss": []string{"https://wetside.test"}}, "another audience": {"aud": "https://other.test"}, "no audience": {"aud": nil},
		"empty audience": {"aud": []string{}}, "issuer as audience": {"aud": "https://wetside.test"},
		"expired": {"exp": now.Add(-time.Minute).Unix()}, "never expires": {"exp": nil}, "expiry null": {"exp": json.RawMessage("null")},
		"expiry as text": {"exp": "9999999999"}, "expiry at zero": {"exp": 0}, "expiry below zero": {"exp": -1},
		"expiry beyond all numbers": {"exp": json.RawMessage("1e400")}, "expiry with a fraction": {"exp": json.RawMessage("9999999999.5")},
		"not before ahead": {"nbf": now.Add(time.Hour).Unix()}, "not before as text": {"nbf": "0"},
		"issued ahead": {"iat": now.Add(time.Hour).Unix()}, "never issued": {"iat": nil},
		"no id": {"jti": nil}, "no client": {"client_id": nil}, "another client": {"client_id": "other"},
		"nobody": {"sub": ""}, "no subject": {"sub": nil}, "no such member": {"sub": "member_" + strings.Repeat("0", 32)},
		"subject as a number": {"sub": 1}, "SQL as subject": {"sub": "' OR true --"},
		"member of another lab": {"sub": other.MemberID}, "no lab": {"lab": nil},
		"no sign-in": {"sid": nil}, "no such sign-in": {"sid": "signin_" + strings.Repeat("0", 32)},
		"another's sign-in": {"sid": claimOf(other.Token(), "sid")},
		"setup in a lab":    {"sub": "setup"}, "setup with a sign-in": {"sub": "setup", "lab": nil},
	} {
		all["claims: "+name] = f.withClaims(change)
	}
	for _, name := range []string{"exp", "sub", "aud", "lab"} {
		payload := strings.Replace(f.payload(nil), "{", fmt.Sprintf(`{%q:1,`, name), 1)
		all["claims: "+name+" twice"] = f.raw(f.header(nil), payload)
	}
	return all
}

func claimOf(token, name string) any {
	var c map[string]any
	payload, _ := base64.RawURLEncoding.DecodeString(strings.Split(token, ".")[1])
	_ = json.Unmarshal(payload, &c)
	return c[name]
}

// shapeAttacks are about how a token is written.
func shapeAttacks(f forge, good string) map[string]string {
	part := strings.Split(good, ".")
	flipped := []byte(part[2])
	flipped[10] ^= 1
	all := map[string]string{
		"no signature": part[0] + "." + part[1] + ".", "two parts": part[0] + "." + part[1], "four parts": good + "." + part[2],
		"one part": part[1], "dots": "..", "cut short": good[:len(good)-2], "one letter changed": part[0] + "." + part[1] + "." + string(flipped),
		"parts swapped": part[1] + "." + part[0] + "." + part[2], "padded": good + "==", "nonsense": "x",
		"oversized":        f.withClaims(map[string]any{"more": strings.Repeat("x", 8<<10)}),
		"oversized header": f.withHeader(map[string]any{"kid": strings.Repeat("k", 20<<10)}),
		"deep":             f.raw(f.header(nil), `{"a":`+strings.Repeat("[", 1000)+strings.Repeat("]", 1000)+`}`),
		"not JSON":         f.raw(f.header(nil), "hello"), "a list": f.raw(f.header(nil), "[]"), "nothing": f.raw("", ""),
		"JSON and more":       f.raw(f.header(nil), f.payload(nil)+"{}"),
		"standard base64":     strings.NewReplacer("-", "+", "_", "/").Replace(f.raw(f.header(map[string]any{"kid": "??>>"}), f.payload(nil))),
		"bits left over":      part[0] + "." + part[1] + "." + part[2][:len(part[2])-1] + string(rune(part[2][len(part[2])-1]+1)),
		"JSON serialization":  `{"payload":"` + part[1] + `","protected":"` + part[0] + `","signature":"` + part[2] + `"}`,
		"signature of others": part[0] + "." + b64([]byte(f.payload(map[string]any{"jti": "x"}))) + "." + part[2],
		"encrypted (JWE)":     part[0] + "." + part[1] + "." + part[2] + "." + part[2] + "." + part[2],
	}
	if i := bytes.IndexByte([]byte(part[1]), 'a'); i > 0 {
		all["blank inside"] = part[0] + "." + part[1][:i] + "%20" + part[1][i:] + "." + part[2]
	}
	return all
}
