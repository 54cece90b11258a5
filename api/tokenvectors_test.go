package api_test

import (
	"crypto/ecdsa"
	"crypto/ed25519"
	"encoding/base64"
	"encoding/json"
	"strings"
	"testing"

	"github.com/MicahParks/jwkset"
	"github.com/golang-jwt/jwt/v5"

	"wetside/lab/signin"
)

// The published examples, to the letter.
const (
	// RFC 7515, appendix A.4: ECDSA with P-521 and SHA-512 over "Payload".
	vectorES512    = "eyJhbGciOiJFUzUxMiJ9.UGF5bG9hZA.AdwMgeerwtHoh-l192l60hp9wAHZFVJbLfD_UxMi70cwnZOYaRI1bKPWROc-mZZqwqT2SI-KGDKB34XO0aw_7XdtAG8GaSwFKdCAPZgoXD2YBJZCPEX3xKpRwcdOO8KpEHwJjyqOgzDO7iKvU8vcnwNrmxYbSW9ERBXukOXolLzeO_Jn"
	vectorES512Key = `{"kty":"EC","crv":"P-521","x":"AekpBQ8ST8a8VcfVOTNl353vSrDCLLJXmPk06wTjxrrjcBpXp5EOnYG_NjFZ6OvLFV1jSfS9tsz4qUxcWceqwQGk","y":"ADSmRA43Z1DSNx_RvcLI87cdL07l6jQyyBXMoxVg_l2Th-x3S1WDhjDly79ajL4Kkd0AZMaZmh9ubmf63e3kyMj2"}`
	// RFC 7515, appendix A.5: an unsecured JWS.
	vectorUnsecured = "eyJhbGciOiJub25lIn0.eyJpc3MiOiJqb2UiLA0KICJleHAiOjEzMDA4MTkzODAsDQogImh0dHA6Ly9leGFtcGxlLmNvbS9pc19yb290Ijp0cnVlfQ."
	// RFC 8037, appendices A.1 to A.5: an Ed25519 key, its thumbprint, and a JWS.
	vectorEd25519           = "eyJhbGciOiJFZERTQSJ9.RXhhbXBsZSBvZiBFZDI1NTE5IHNpZ25pbmc.hgyY0il_MGCjP0JzlnLWG1PPOt7-09PGcvMg3AIbQR6dWbhijcNR4ki4iylGjg5BhVsPt9g7sVvpAr_MuM0KAg"
	vectorEd25519Seed       = "nWGxne_9WmC6hEr0kuwsxERJxWl7MmkZcDusAxyuf2A"
	vectorEd25519X          = "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo"
	vectorEd25519Thumbprint = "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k"
)

// vectorAttacks are the published examples sent as access tokens.
func vectorAttacks() map[string]string {
	return map[string]string{
		"RFC 7515 A.4": vectorES512, "RFC 7515 A.5": vectorUnsecured, "RFC 8037 A.4": vectorEd25519,
	}
}

// parts are a JWS's signing input and signature.
func parts(t *testing.T, token string) (input string, signature []byte) {
	t.Helper()
	dot := strings.LastIndexByte(token, '.')
	signature, err := base64.RawURLEncoding.DecodeString(token[dot+1:])
	if err != nil {
		t.Fatal(err)
	}
	return token[:dot], signature
}

// The published vectors verify as they should by the very code that verifies
// ours and a provider's tokens, and no other payload or key does.
func TestPublishedVectors(t *testing.T) {
	t.Parallel()
	var marshalled jwkset.JWKMarshal
	if err := json.Unmarshal([]byte(vectorES512Key), &marshalled); err != nil {
		t.Fatal(err)
	}
	jwk, err := jwkset.NewJWKFromMarshal(marshalled, jwkset.JWKMarshalOptions{}, jwkset.JWKValidateOptions{})
	if err != nil {
		t.Fatal(err)
	}
	ecKey, ok := jwk.Key().(*ecdsa.PublicKey)
	if !ok {
		t.Fatalf("the key is a %T", jwk.Key())
	}
	seed, err := base64.RawURLEncoding.DecodeString(vectorEd25519Seed)
	if err != nil {
		t.Fatal(err)
	}
	key := ed25519.NewKeyFromSeed(seed)
	public := key.Public().(ed25519.PublicKey)
	for name, row := range map[string]struct {
		token  string
		method jwt.SigningMethod
		key    any
	}{
		"RFC 7515 A.4": {vectorES512, jwt.SigningMethodES512, ecKey},
		"RFC 8037 A.5": {vectorEd25519, jwt.SigningMethodEdDSA, public},
	} {
		input, signature := parts(t, row.token)
		if err := row.method.Verify(input, signature, row.key); err != nil {
			t.Errorf("%s does not verify: %v", name, err)
		}
		if err := row.method.Verify(input+"x", signature, row.key); err == nil {
			t.Errorf("%s verifies with another payload", name)
		}
		for i := range signature {
			signature[i] ^= 0x40
			if err := row.method.Verify(input, signature, row.key); err == nil {
				t.Errorf("%s verifies with byte %d of its signature changed", name, i)
			}
			signature[i] ^= 0x40
		}
	}
	// A.4 of RFC 8037: Ed25519 is deterministic, so signing gives the same.
	input, signature := parts(t, vectorEd25519)
	if made, err := jwt.SigningMethodEdDSA.Sign(input, key); err != nil || string(made) != string(signature) {
		t.Errorf("RFC 8037 A.4: signed %x, %v", made, err)
	}
	if got := base64.RawURLEncoding.EncodeToString(public); got != vectorEd25519X {
		t.Errorf("RFC 8037 A.2: x is %s", got)
	}
	if got := signin.Thumbprint(public); got != vectorEd25519Thumbprint {
		t.Errorf("RFC 8037 A.3: the thumbprint is %s", got)
	}
	// A.5 of RFC 7515 has no signature: with none allowed it reads, with ours it does not.
	if _, err := jwt.NewParser(jwt.WithoutClaimsValidation()).Parse(vectorUnsecured, func(*jwt.Token) (any, error) {
		return jwt.UnsafeAllowNoneSignatureType, nil
	}); err != nil {
		t.Errorf("RFC 7515 A.5 does not read as unsecured: %v", err)
	}
	if _, err := jwt.NewParser(jwt.WithoutClaimsValidation()).Parse(vectorUnsecured, func(*jwt.Token) (any, error) { return public, nil }); err == nil {
		t.Error("RFC 7515 A.5 verifies with a key")
	}
}
