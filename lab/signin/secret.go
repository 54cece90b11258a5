package signin

import (
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"io"
)

// secretBytes is how much randomness a secret has: nobody guesses 256 bits, so
// a plain hash keeps them.
const secretBytes = 32

// newSecret makes a secret behind a prefix that says what it is, for whoever
// searches logs and repositories for secrets that should not be there.
func newSecret(prefix string, random io.Reader) (string, error) {
	raw := make([]byte, secretBytes)
	if _, err := io.ReadFull(random, raw); err != nil {
		return "", fmt.Errorf("secret: %w", err)
	}
	return prefix + base64.RawURLEncoding.EncodeToString(raw), nil
}

// hash is what is kept of a secret.
func hash(secret string) []byte {
	sum := sha256.Sum256([]byte(secret))
	return sum[:]
}
