package chemistry

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// A Use is a run that was made in a bath set.
type Use struct {
	BathSet string
	// Load is the film that went through, by the lab's area rule, and what
	// covered its reels.
	Load
	// Begins is when the step of each bath began, by role.
	Begins map[string]time.Time
	// Override says that the run was made all the same in baths that were dead
	// or in quarantine.
	Override bool
}

// UseBaths writes a run into the baths it went through. It refuses with
// NotFound; kit-closed; bath-dead if a step began before its bath was mixed,
// after it expired or after it was discarded; bath-quarantined; and
// bath-exhausted if the run was more than was left of a bath. Faults name each
// bath at fault. An override lets through what Against finds, and no more.
func UseBaths(ctx context.Context, tx pgx.Tx, s lab.Scope, u Use) (BathSet, error) {
	if err := lab.Touch(ctx, tx, s.Lab.ID); err != nil {
		return BathSet{}, err
	}
	set, err := FindBathSet(ctx, tx, s.Lab.ID, u.BathSet, s.Now)
	if err != nil {
		return BathSet{}, err
	}
	k, err := LockKit(ctx, tx, s.Lab.ID, set.Kit)
	if err != nil {
		return BathSet{}, err
	}
	if k.ClosedAt != nil {
		return BathSet{}, lab.Refuse(lab.Conflict, "kit-closed", "%s is closed, and with it what was mixed from it", k.Name)
	}
	set.Baths, err = manyBaths(ctx, tx, s.Now, selectBaths+`
		AND b.bath_set_id = $2 ORDER BY b.id FOR NO KEY UPDATE OF b`, s.Lab.ID, set.ID)
	if err != nil {
		return BathSet{}, err
	}
	if err := set.usable(u); err != nil {
		return BathSet{}, err
	}
	for _, b := range set.Baths {
		if _, used := u.Begins[b.Role]; !used {
			continue
		}
		w := b.After(b.Wear(), u.Load)
		_, err = tx.Exec(ctx, `
			UPDATE baths SET used_area_mm2 = $3, used_runs = $4, volume_left_ml = $5, version = version + 1
			WHERE lab_id = $1 AND id = $2`, s.Lab.ID, b.ID, w.AreaMM2, w.Runs, w.VolumeLeftML)
		if err != nil {
			return BathSet{}, fmt.Errorf("use bath: %w", err)
		}
	}
	return FindBathSet(ctx, tx, s.Lab.ID, set.ID, s.Now)
}

// Against is in what ways a run was made against the state of its baths: in
// one that had expired or was discarded, or was in quarantine,
// when it began.
func (s BathSet) Against(u Use) []Fault {
	var fs faults
	for _, b := range s.Baths {
		began, used := u.Begins[b.Role]
		if !used {
			continue
		}
		at := began.UTC().Format(time.RFC3339)
		switch {
		case began.After(b.ExpiresAt):
			fs.add("", "expired", "bath %s (%s) expired at %s, before its step began at %s",
				b.ID, b.Role, b.ExpiresAt.UTC().Format(time.RFC3339), at)
		case b.DiscardedAt != nil && began.After(*b.DiscardedAt):
			fs.add("", "discarded", "bath %s (%s) was discarded before its step began at %s", b.ID, b.Role, at)
		}
		// What was run before the quarantine, and is recorded late, was no fault.
		if q := b.Quarantine; q != nil && !began.Before(q.At) {
			fs.add("", "quarantined", "bath %s (%s) is in quarantine: %s", b.ID, b.Role, q.Because)
		}
	}
	return fs
}

// usable says whether the run could be made in the set's baths.
func (s BathSet) usable(u Use) error {
	dead := lab.Refuse(lab.Conflict, "bath-dead", "a bath was not alive when its step began")
	kept := lab.Refuse(lab.Conflict, "bath-quarantined", "a bath was in quarantine when its step began")
	spent := lab.Refuse(lab.Conflict, "bath-exhausted", "the run is more than is left of a bath")
	known := map[string]bool{}
	for _, b := range s.Baths {
		known[b.Role] = true
		began, used := u.Begins[b.Role]
		if !used {
			continue
		}
		if began.Before(s.MixedAt) {
			dead.With("", "not-yet-mixed", "bath %s (%s) was mixed after its step began at %s", b.ID, b.Role, began.UTC().Format(time.RFC3339))
		}
		for _, f := range b.Carries(b.Wear(), u.Load) {
			spent.With("", f.Code, "bath %s: %s", b.ID, f.Detail)
		}
	}
	for role := range u.Begins {
		if !known[role] {
			dead.With("", "no-such-bath", "the set has no bath %q", role)
		}
	}
	if !u.Override {
		for _, f := range s.Against(u) {
			if f.Code == "quarantined" {
				kept.With("", f.Code, "%s", f.Detail)
			} else {
				dead.With("", f.Code, "%s", f.Detail)
			}
		}
	}
	if err := dead.OrNil(); err != nil {
		return err
	}
	if err := kept.OrNil(); err != nil {
		return err
	}
	return spent.OrNil()
}
