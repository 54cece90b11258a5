package signin

import (
	"context"
	"crypto/aes"
	"crypto/cipher"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"io"
	"time"

	"github.com/jackc/pgx/v5"
)

// The life of a signing key. It is published keyLead before it signs, so that
// every server and everybody who reads the key set knows it by then; signs for
// keyUse; and is honoured until the last token it signed has expired.
const (
	keyUse  = 30 * 24 * time.Hour
	keyLead = time.Hour
	// keySoon is the lead of a key that a keeper asks for.
	keySoon = 2 * time.Minute
)

// A Key signs access tokens (Ed25519).
type Key struct {
	ID         string // RFC 7638 thumbprint
	SignsFrom  time.Time
	SignsUntil *time.Time // nil: until it has a successor
	// HonouredUntil is when the last token that it signed has expired; nil with SignsUntil.
	HonouredUntil *time.Time

	private ed25519.PrivateKey
}

// A Ring is the keys that count, the newest first.
type Ring []Key

// Signer is the key that signs at an instant. ok is false where none does.
func (r Ring) Signer(at time.Time) (id string, key ed25519.PrivateKey, ok bool) {
	for _, k := range r {
		if !k.SignsFrom.After(at) && (k.SignsUntil == nil || k.SignsUntil.After(at)) {
			return k.ID, k.private, true
		}
	}
	return "", nil, false
}

// Public is the key of an id, if its tokens are honoured at an instant.
func (r Ring) Public(id string, at time.Time) (ed25519.PublicKey, bool) {
	for _, k := range r {
		if k.ID == id && (k.HonouredUntil == nil || k.HonouredUntil.After(at)) {
			return k.private.Public().(ed25519.PublicKey), true
		}
	}
	return nil, false
}

// A JWK is a public key of ours as others read it (RFC 7517, RFC 8037).
type JWK struct {
	KeyType   string `json:"kty"`
	Curve     string `json:"crv"`
	X         string `json:"x"`
	Use       string `json:"use"`
	Algorithm string `json:"alg"`
	ID        string `json:"kid"`
}

// A KeySet is all of them.
type KeySet struct {
	Keys []JWK `json:"keys"`
}

// Published is the key set at an instant: what signs, will sign, or has signed
// tokens that have not expired.
func (r Ring) Published(at time.Time) KeySet {
	set := KeySet{Keys: []JWK{}}
	for _, k := range r {
		if public, ok := r.Public(k.ID, at); ok {
			set.Keys = append(set.Keys, JWK{KeyType: "OKP", Curve: "Ed25519", Use: "sig", Algorithm: "EdDSA",
				ID: k.ID, X: base64.RawURLEncoding.EncodeToString(public)})
		}
	}
	return set
}

// Thumbprint is a public key's name by RFC 7638, as RFC 8037 (appendix A.3) has it.
func Thumbprint(public ed25519.PublicKey) string {
	sum := sha256.Sum256([]byte(`{"crv":"Ed25519","kty":"OKP","x":"` + base64.RawURLEncoding.EncodeToString(public) + `"}`))
	return base64.RawURLEncoding.EncodeToString(sum[:])
}

// A Vault is where signing keys are: in the database, sealed.
type Vault struct {
	seal cipher.AEAD
	// tokens is how long access tokens live, and a little for clocks that differ.
	tokens time.Duration
	random io.Reader
}

// NewVault makes a vault whose keys are sealed under a key of 32 bytes, and sign
// tokens that live no longer than tokens.
func NewVault(key []byte, tokens time.Duration, random io.Reader) (*Vault, error) {
	block, err := aes.NewCipher(key)
	if err != nil {
		return nil, fmt.Errorf("vault: %w", err)
	}
	seal, err := cipher.NewGCM(block)
	if err != nil {
		return nil, fmt.Errorf("vault: %w", err)
	}
	return &Vault{seal: seal, tokens: tokens, random: random}, nil
}

// Ring reads the keys that are honoured at clock. lost is how many could not be
// opened: they were sealed under another secret, or are not what was sealed.
func (v *Vault) Ring(ctx context.Context, tx pgx.Tx, clock time.Time) (ring Ring, lost int, err error) {
	rows, err := tx.Query(ctx, `SELECT kid, sealed, signs_from, signs_until, honoured_until FROM signing_keys
		WHERE honoured_until IS NULL OR honoured_until > $1 ORDER BY signs_from DESC`, clock)
	if err != nil {
		return nil, 0, fmt.Errorf("read signing keys: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var k Key
		var sealed []byte
		if err := rows.Scan(&k.ID, &sealed, &k.SignsFrom, &k.SignsUntil, &k.HonouredUntil); err != nil {
			return nil, 0, fmt.Errorf("read signing keys: %w", err)
		}
		if k.private, err = v.open(sealed, k.ID); err != nil {
			lost++
			continue
		}
		ring = append(ring, k)
	}
	return ring, lost, rows.Err()
}

func (v *Vault) open(sealed []byte, id string) (ed25519.PrivateKey, error) {
	n := v.seal.NonceSize()
	if len(sealed) < n {
		return nil, io.ErrUnexpectedEOF
	}
	seed, err := v.seal.Open(nil, sealed[:n], sealed[n:], []byte(id))
	if err != nil || len(seed) != ed25519.SeedSize {
		return nil, fmt.Errorf("signing key %s cannot be opened", id)
	}
	return ed25519.NewKeyFromSeed(seed), nil
}

// make draws a key and seals it; its name is bound to what is sealed.
func (v *Vault) make() (id string, sealed []byte, err error) {
	drawn := make([]byte, ed25519.SeedSize+v.seal.NonceSize())
	if _, err := io.ReadFull(v.random, drawn); err != nil {
		return "", nil, fmt.Errorf("signing key: %w", err)
	}
	seed, nonce := drawn[:ed25519.SeedSize], drawn[ed25519.SeedSize:]
	id = Thumbprint(ed25519.NewKeyFromSeed(seed).Public().(ed25519.PublicKey))
	return id, v.seal.Seal(nonce, nonce, seed, []byte(id)), nil
}
