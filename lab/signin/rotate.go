package signin

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
)

// clockSkew is how far the clocks of servers and callers may be apart.
const clockSkew = time.Minute

// Tend sees to it that a key signs at clock and that the next one is published
// in time, and removes those whose last token has expired. Servers may do it at
// once: one works, the others wait and find nothing to do. made says that a key
// was made; it fails as the database does.
func (v *Vault) Tend(ctx context.Context, tx pgx.Tx, clock time.Time) (made bool, err error) {
	ring, err := v.hold(ctx, tx, clock)
	if err != nil {
		return false, err
	}
	if _, err := tx.Exec(ctx, `DELETE FROM signing_keys WHERE honoured_until <= $1`, clock); err != nil {
		return false, fmt.Errorf("remove signing keys: %w", err)
	}
	_, _, signs := ring.Signer(clock)
	switch {
	case !signs: // the first, or the one there was cannot be opened any more
		return true, v.succeed(ctx, tx, clock, clock.Add(-clockSkew))
	case ring[0].SignsUntil == nil && !ring[0].SignsFrom.Add(keyUse-keyLead).After(clock):
		return true, v.succeed(ctx, tx, clock, clock.Add(keyLead))
	}
	return false, nil
}

// Rotate has a new key sign from two minutes on, when every server knows it.
// Tokens of the old one are honoured until they expire. Where the newest has
// not begun to sign, that one is as new as it gets and nothing is made.
func (v *Vault) Rotate(ctx context.Context, tx pgx.Tx, clock time.Time) (made bool, err error) {
	ring, err := v.hold(ctx, tx, clock)
	if err != nil || len(ring) > 0 && ring[0].SignsFrom.After(clock) {
		return false, err
	}
	from := clock.Add(keySoon)
	if _, _, signs := ring.Signer(clock); !signs {
		from = clock.Add(-clockSkew)
	}
	return true, v.succeed(ctx, tx, clock, from)
}

// Revoke throws all keys away and makes one that signs at once, for when a key
// may have been seen: no access token of before is honoured by a server that has
// noticed, which takes half a minute. Refresh tokens are no signatures, and stay.
func (v *Vault) Revoke(ctx context.Context, tx pgx.Tx, clock time.Time) error {
	if _, err := v.hold(ctx, tx, clock); err != nil {
		return err
	}
	if _, err := tx.Exec(ctx, `DELETE FROM signing_keys`); err != nil {
		return fmt.Errorf("revoke signing keys: %w", err)
	}
	return v.succeed(ctx, tx, clock, clock.Add(-clockSkew))
}

// hold keeps everybody else from changing keys until the transaction ends.
func (v *Vault) hold(ctx context.Context, tx pgx.Tx, clock time.Time) (Ring, error) {
	if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock(hashtextextended('wetside signing keys', 0))`); err != nil {
		return nil, fmt.Errorf("hold signing keys: %w", err)
	}
	ring, _, err := v.Ring(ctx, tx, clock)
	return ring, err
}

// succeed makes a key that signs from an instant on, when the newest ends. One
// that is to sign at once does so from a minute ago: to a server whose clock is
// a little behind it must not be one that has yet to begin.
func (v *Vault) succeed(ctx context.Context, tx pgx.Tx, clock, from time.Time) error {
	_, err := tx.Exec(ctx, `UPDATE signing_keys SET signs_until = $1, honoured_until = $2
		WHERE signs_until IS NULL`, from, from.Add(v.tokens+2*clockSkew))
	if err != nil {
		return fmt.Errorf("end signing key: %w", err)
	}
	id, sealed, err := v.make()
	if err != nil {
		return err
	}
	_, err = tx.Exec(ctx, `INSERT INTO signing_keys (kid, sealed, made_at, signs_from) VALUES ($1, $2, $3, $4)`, id, sealed, clock, from)
	if err != nil {
		return fmt.Errorf("keep signing key: %w", err)
	}
	return nil
}
