package api

import (
	"context"
	"crypto/ed25519"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab/database"
	"wetside/lab/signin"
)

// How old the keys that a process knows may be, and how soon it looks again for
// the sake of a key that it does not know: whoever sends made-up key ids must
// not have the database read for each.
const (
	ringAge   = 30 * time.Second
	ringPause = 2 * time.Second
)

// A keyring is the signing keys as this process last read them. The database has
// them; a process keeps a copy for half a minute, since every request needs one.
type keyring struct {
	vault *signin.Vault
	store *database.Store
	log   *slog.Logger

	last    atomic.Pointer[ringCopy]
	reading sync.Mutex
}

type ringCopy struct {
	ring signin.Ring
	at   time.Time
}

// fresh says whether the copy is younger than age; clocks may go back.
func (c *ringCopy) fresh(clock time.Time, age time.Duration) bool {
	old := clock.Sub(c.at)
	return old >= 0 && old < age
}

// public is the key of an id if its tokens are honoured at clock.
func (k *keyring) public(ctx context.Context, id string, clock time.Time) (ed25519.PublicKey, bool, error) {
	ring, err := k.read(ctx, clock, ringAge)
	if err != nil {
		return nil, false, err
	}
	if key, ok := ring.Public(id, clock); ok {
		return key, true, nil
	}
	if ring, err = k.read(ctx, clock, ringPause); err != nil {
		return nil, false, err
	}
	key, ok := ring.Public(id, clock)
	return key, ok, nil
}

// read is the keys, read again if the copy is older than age. Who comes while
// they are being read goes by the old copy.
func (k *keyring) read(ctx context.Context, clock time.Time, age time.Duration) (signin.Ring, error) {
	had := k.last.Load()
	if had != nil && had.fresh(clock, age) {
		return had.ring, nil
	}
	if had == nil {
		k.reading.Lock()
	} else if !k.reading.TryLock() {
		return had.ring, nil
	}
	defer k.reading.Unlock()
	if now := k.last.Load(); now != nil && now != had { // read meanwhile
		return now.ring, nil
	}
	var ring signin.Ring
	err := k.store.InTx(ctx, database.Reading, "", func(tx pgx.Tx) (err error) {
		var lost int
		if ring, lost, err = k.vault.Ring(ctx, tx, clock); lost > 0 {
			k.log.Warn("signing keys cannot be opened: they were sealed under another secret", "count", lost)
		}
		return err
	})
	if err != nil && had != nil {
		return had.ring, nil // the database is away; a request that needs it will say so
	}
	if err != nil {
		return nil, err
	}
	k.last.Store(&ringCopy{ring: ring, at: clock})
	return ring, nil
}

// signer is the key that signs at clock. It is asked for within a transaction,
// and so must not take a connection of its own: what the copy lacks it reads, or
// makes, in that one.
func (k *keyring) signer(ctx context.Context, tx pgx.Tx, clock time.Time) (string, ed25519.PrivateKey, error) {
	if had := k.last.Load(); had != nil && had.fresh(clock, ringAge) {
		if id, key, ok := had.ring.Signer(clock); ok {
			return id, key, nil
		}
	}
	ring, _, err := k.vault.Ring(ctx, tx, clock)
	if err != nil {
		return "", nil, err
	}
	if _, _, ok := ring.Signer(clock); !ok {
		if _, err := k.vault.Tend(ctx, tx, clock); err != nil {
			return "", nil, err
		}
		k.last.Store(nil) // it will have to know the key it made
		if ring, _, err = k.vault.Ring(ctx, tx, clock); err != nil {
			return "", nil, err
		}
	}
	id, key, _ := ring.Signer(clock) // Tend saw to it
	return id, key, nil
}

// tend makes and removes keys as their time comes.
func (k *keyring) tend(ctx context.Context, clock time.Time) error {
	var made bool
	err := k.store.InTx(ctx, database.Writing, "", func(tx pgx.Tx) (err error) {
		made, err = k.vault.Tend(ctx, tx, clock)
		return err
	})
	if err == nil && made {
		k.log.Info("a signing key was made")
	}
	return err
}
