package signin

import (
	"context"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"runtime"
	"strings"

	"golang.org/x/crypto/argon2"
)

// A cost is what one hash takes.
type cost struct {
	memoryKiB uint32
	passes    uint32
	lanes     uint8
}

// usualCost is the least that the OWASP Password Storage Cheat Sheet asks of
// Argon2id: 19 MiB, two passes, one lane.
var usualCost = cost{memoryKiB: 19 << 10, passes: 2, lanes: 1}

// highestCost bounds what a stored hash may make us spend.
var highestCost = cost{memoryKiB: 256 << 10, passes: 16, lanes: 16}

const (
	saltBytes = 16
	sumBytes  = 32
)

// A Hasher makes and compares password hashes, few at a time: each takes 19 MiB
// and some ten milliseconds of a processor, and a flood of sign-ins must not
// take all there is of either.
type Hasher struct {
	places chan struct{}
	cost   cost
	random io.Reader
	decoy  string
}

// NewHasher makes a hasher that takes salts from random.
func NewHasher(random io.Reader) *Hasher { return newHasher(random, usualCost) }

func newHasher(random io.Reader, c cost) *Hasher {
	return &Hasher{
		places: make(chan struct{}, max(1, runtime.GOMAXPROCS(0))),
		cost:   c, random: random,
		decoy: encodePHC(c, make([]byte, saltBytes), make([]byte, sumBytes)),
	}
}

// Hash hashes a password under a new salt. It fails when ctx ends first.
func (h *Hasher) Hash(ctx context.Context, password string) (string, error) {
	salt := make([]byte, saltBytes)
	if _, err := io.ReadFull(h.random, salt); err != nil {
		return "", fmt.Errorf("salt: %w", err)
	}
	sum, err := h.sum(ctx, h.cost, password, salt, sumBytes)
	if err != nil {
		return "", err
	}
	return encodePHC(h.cost, salt, sum), nil
}

// Verify says whether phc is the password's hash, and whether it was made at
// another cost than new ones are and should be made anew. With phc "" it takes
// as long and says no: who has no password cannot be told from who gave a wrong one.
func (h *Hasher) Verify(ctx context.Context, phc, password string) (ok, stale bool, err error) {
	against := phc
	if against == "" {
		against = h.decoy
	}
	c, salt, want, err := decodePHC(against)
	if err != nil {
		return false, false, err
	}
	got, err := h.sum(ctx, c, password, salt, len(want))
	if err != nil {
		return false, false, err
	}
	return subtle.ConstantTimeCompare(got, want) == 1 && phc != "", c != h.cost, nil
}

// sum waits for a place and hashes.
func (h *Hasher) sum(ctx context.Context, c cost, password string, salt []byte, n int) ([]byte, error) {
	select {
	case h.places <- struct{}{}:
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	defer func() { <-h.places }()
	return argon2.IDKey([]byte(normal(password)), salt, c.passes, c.memoryKiB, c.lanes, uint32(n)), nil // n is 64 at most
}

// encodePHC writes a hash as the PHC string format has it.
func encodePHC(c cost, salt, sum []byte) string {
	b64 := base64.RawStdEncoding.EncodeToString
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, c.memoryKiB, c.passes, c.lanes, b64(salt), b64(sum))
}

var errNoHash = errors.New("not a hash of Argon2id version 19 within bounds")

// decodePHC reads what encodePHC writes, and nothing else.
func decodePHC(phc string) (c cost, salt, sum []byte, err error) {
	parts := strings.Split(phc, "$")
	if len(parts) != 6 {
		return cost{}, nil, nil, errNoHash
	}
	_, err = fmt.Sscanf(parts[3], "m=%d,t=%d,p=%d", &c.memoryKiB, &c.passes, &c.lanes)
	if err == nil {
		salt, err = base64.RawStdEncoding.Strict().DecodeString(parts[4])
	}
	if err == nil {
		sum, err = base64.RawStdEncoding.Strict().DecodeString(parts[5])
	}
	switch {
	case err != nil, len(salt) < 8, len(salt) > 64, len(sum) < 16, len(sum) > 64,
		c.memoryKiB < 8*uint32(c.lanes), c.passes < 1, c.lanes < 1,
		c.memoryKiB > highestCost.memoryKiB, c.passes > highestCost.passes, c.lanes > highestCost.lanes,
		encodePHC(c, salt, sum) != phc:
		return cost{}, nil, nil, errNoHash
	}
	return c, salt, sum, nil
}
