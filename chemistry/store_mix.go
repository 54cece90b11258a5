package chemistry

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// A NewMix is a portion of a kit to mix.
type NewMix struct {
	Kit string `json:"kit"`
	// MixedAt is when it was mixed, if not just now.
	MixedAt *time.Time `json:"mixed_at"`
	// TogetherWith are other kits to pour in. There may be none: it is there to
	// be refused.
	TogetherWith []string `json:"together_with,omitempty"`
	// Storage is how its baths are bottled, if not as the kit's lives take it.
	Storage *Storage `json:"storage,omitempty"`
}

// MixKit makes a bath set of one portion of a kit; its baths live from then
// on. It refuses with NotFound, kit-closed, kit-spent, kit-expired (past its
// shelf life, or past its opened life), two-kits and invalid: nothing is mixed
// in the future, or before its kit was bought.
func MixKit(ctx context.Context, tx pgx.Tx, s lab.Scope, m NewMix) (BathSet, error) {
	if err := lab.Touch(ctx, tx, s.Lab.ID); err != nil {
		return BathSet{}, err
	}
	k, err := LockKit(ctx, tx, s.Lab.ID, m.Kit)
	if err != nil {
		return BathSet{}, err
	}
	for _, other := range m.TogetherWith {
		if other != k.ID {
			return BathSet{}, twoKits()
		}
	}
	if m.Storage != nil {
		if err := refuseFaults("/storage", m.Storage.Validate()...); err != nil {
			return BathSet{}, err
		}
	}
	mixedAt := s.Now
	if m.MixedAt != nil {
		mixedAt = m.MixedAt.UTC().Truncate(time.Microsecond)
	}
	if mixedAt.After(s.Now) {
		return BathSet{}, refuseFaults("", fault("/mixed_at", "in-the-future", "say it once it is mixed"))
	}
	if day := mixedAt.In(s.Lab.Location()).Format(time.DateOnly); day < k.BoughtOn {
		return BathSet{}, refuseFaults("", fault("/mixed_at", "before-purchase", "%s was bought on %s", k.Name, k.BoughtOn))
	}
	if err := k.Mixable(mixedAt); err != nil {
		return BathSet{}, conflict(err)
	}
	return mix(ctx, tx, s, k, mixedAt, m.Storage)
}

func mix(ctx context.Context, tx pgx.Tx, s lab.Scope, k Kit, mixedAt time.Time, storage *Storage) (BathSet, error) {
	_, err := tx.Exec(ctx, `
		UPDATE kits SET portions_left = portions_left - 1, opened_at = least(opened_at, $3), version = version + 1
		WHERE lab_id = $1 AND id = $2`, s.Lab.ID, k.ID, mixedAt)
	if err != nil {
		return BathSet{}, fmt.Errorf("take a portion: %w", err)
	}
	var id string
	err = tx.QueryRow(ctx, `
		INSERT INTO bath_sets (lab_id, id, kit_id, mixed_at, mixed_by)
		VALUES ($1, new_id('bathset', $5), $2, $3, $4)
		RETURNING id`, s.Lab.ID, k.ID, mixedAt, s.By.ID, s.Now).Scan(&id)
	if err != nil {
		return BathSet{}, fmt.Errorf("add bath set: %w", err)
	}
	for i, d := range k.Baths {
		// A millisecond apart, so that baths keep the kit's order by id.
		_, err = tx.Exec(ctx, `
			INSERT INTO baths (lab_id, id, bath_set_id, role, definition, volume_left_ml, expires_at, storage)
			VALUES ($1, new_id('bath', $2), $3, $4, $5, $6, $7, $8)`,
			s.Lab.ID, s.Now.Add(time.Duration(i)*time.Millisecond), id, d.Role, d, d.VolumeML, mixedAt.Add(d.StoredLife(storage).Std()), storage)
		if err != nil {
			return BathSet{}, fmt.Errorf("add bath: %w", err)
		}
	}
	return FindBathSet(ctx, tx, s.Lab.ID, id, s.Now)
}
