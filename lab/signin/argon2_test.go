package signin

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"
)

// Published by the reference implementation of Argon2 (test.c, from memory),
// which is version 19 of Argon2id; RFC 9106 has vectors with a secret alone.
func TestArgon2AgainstTheReference(t *testing.T) {
	t.Parallel()
	h := NewHasher(rand.Reader)
	for _, row := range []struct {
		c                        cost
		password, salt, sum, phc string
	}{
		{cost{64 << 10, 2, 1}, "password", "somesalt", "09316115d5cf24ed5a15a31a3ba326e5cf32edc24702987c02b6566f61913cf7",
			"$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc"},
		{cost{256, 2, 1}, "password", "somesalt", "9dfeb910e80bad0311fee20f9c0e2b12c17987b4cac90c2ef54d5b3021c68bfe",
			"$argon2id$v=19$m=256,t=2,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4"},
	} {
		sum, err := h.sum(t.Context(), row.c, row.password, []byte(row.salt), 32)
		if err != nil || hex.EncodeToString(sum) != row.sum {
			t.Errorf("%v: %x, %v; want %s", row.c, sum, err, row.sum)
		}
		if got := encodePHC(row.c, []byte(row.salt), sum); got != row.phc {
			t.Errorf("written as %s, want %s", got, row.phc)
		}
		if ok, stale, err := h.Verify(t.Context(), row.phc, row.password); !ok || !stale || err != nil {
			t.Errorf("%s: ok %v, to be made anew %v, %v", row.phc, ok, stale, err)
		}
	}
}

func TestHashesAreSaltedAndCompared(t *testing.T) {
	t.Parallel()
	h := NewHasher(rand.Reader)
	one, err := h.Hash(t.Context(), "seven slow green lamps")
	if err != nil {
		t.Fatal(err)
	}
	two, err := h.Hash(t.Context(), "seven slow green lamps")
	if err != nil || one == two {
		t.Errorf("twice the same hash %s, %v", one, err)
	}
	if !strings.HasPrefix(one, "$argon2id$v=19$m=19456,t=2,p=1$") {
		t.Errorf("the cost is not OWASP's least: %s", one)
	}
	for _, row := range []struct {
		phc, password string
		ok            bool
	}{
		{one, "seven slow green lamps", true}, {two, "seven slow green lamps", true},
		{one, "seven slow green lampS", false}, {one, "", false}, {"", "seven slow green lamps", false}, {"", "", false},
	} {
		if ok, stale, err := h.Verify(t.Context(), row.phc, row.password); ok != row.ok || stale || err != nil {
			t.Errorf("%q against %q: %v, to be made anew %v, %v", row.password, row.phc, ok, stale, err)
		}
	}
	composed, err := h.Hash(t.Context(), "caf\u00e9 caf\u00e9") // é as one character, and as two
	if err != nil {
		t.Fatal(err)
	}
	if ok, _, err := h.Verify(t.Context(), composed, "cafe\u0301 cafe\u0301"); !ok || err != nil {
		t.Errorf("the same letters written otherwise: %v, %v", ok, err)
	}
}

func TestHashesOutOfBoundsAreRefused(t *testing.T) {
	t.Parallel()
	h := NewHasher(rand.Reader)
	const rest = "$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc"
	for _, phc := range []string{
		"x", "$argon2id", "$argon2i$v=19$m=65536,t=2,p=1" + rest, "$argon2id$v=16$m=65536,t=2,p=1" + rest,
		"$argon2id$v=19$m=4194304,t=2,p=1" + rest, "$argon2id$v=19$m=65536,t=1000000,p=1" + rest,
		"$argon2id$v=19$m=65536,t=2,p=0" + rest, "$argon2id$v=19$m=65536,t=0,p=1" + rest, "$argon2id$v=19$m=1,t=2,p=1" + rest,
		"$argon2id$v=19$m=65536,t=2,p=255" + rest, "$argon2id$v=19$m=65536,p=1,t=2" + rest, "$argon2id$v=19$m=65536,t=2,p=1" + rest + "$",
		"$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$", "$argon2id$v=19$m=65536,t=2,p=1$$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc",
	} {
		if ok, _, err := h.Verify(t.Context(), phc, "password"); ok || !errors.Is(err, errNoHash) {
			t.Errorf("%s: %v, %v", phc, ok, err)
		}
	}
}

// Few are hashed at a time, and who waits too long is let go.
func TestHashingIsBounded(t *testing.T) {
	t.Parallel()
	h := newHasher(rand.Reader, cost{8, 1, 1})
	for range cap(h.places) {
		h.places <- struct{}{}
	}
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Millisecond)
	defer cancel()
	if _, err := h.Hash(ctx, "x"); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("with no place free: %v", err)
	}
	<-h.places
	var all sync.WaitGroup
	for range 50 {
		all.Go(func() {
			if _, err := h.Hash(t.Context(), "x"); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
}

// Somebody unknown takes as long as somebody known with a wrong password. The
// comparison is of processor time, by the medians of many, and loose: it would
// notice a hash that is not made at all.
func TestUnknownTakesAsLong(t *testing.T) {
	t.Parallel()
	h := NewHasher(rand.Reader)
	phc, err := h.Hash(t.Context(), "seven slow green lamps")
	if err != nil {
		t.Fatal(err)
	}
	var known, unknown []time.Duration
	for range 15 { // by turns, so that what else runs burdens both alike
		for phc, times := range map[string]*[]time.Duration{phc: &known, "": &unknown} {
			start := time.Now()
			if ok, _, err := h.Verify(t.Context(), phc, "wrong"); ok || err != nil {
				t.Fatal(ok, err)
			}
			*times = append(*times, time.Since(start))
		}
	}
	slices.Sort(known)
	slices.Sort(unknown)
	a, b := known[len(known)/2], unknown[len(unknown)/2]
	t.Logf("wrong password %v, unknown address %v (medians of %d)", a, b, len(known))
	if a > 3*b || b > 3*a {
		t.Errorf("a wrong password takes %v, an unknown address %v", a, b)
	}
}

func BenchmarkHash(b *testing.B) {
	h := NewHasher(rand.Reader)
	for b.Loop() {
		if _, err := h.Hash(b.Context(), "seven slow green lamps"); err != nil {
			b.Fatal(err)
		}
	}
}

func FuzzDecodePHC(f *testing.F) {
	f.Add("$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc")
	f.Fuzz(func(t *testing.T, phc string) {
		c, salt, sum, err := decodePHC(phc)
		if err == nil && encodePHC(c, salt, sum) != phc {
			t.Errorf("%q is read as another", phc)
		}
	})
}
