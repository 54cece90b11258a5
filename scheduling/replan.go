package scheduling

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// release is the shop with the planned batches that have not begun, and that
// start in [from, until), taken apart: their rolls keep their sessions, as if
// booked there, and may be batched anew. It says which batches those were. A
// batch that mixes a kit for batches that stay, stays.
func (sh *shop) release(from, until time.Time) (*shop, []string) {
	open := func(st standing) bool {
		start := st.placed.Start
		return !st.done && start.After(sh.s.Now) && !start.Before(from) && start.Before(until)
	}
	out := *sh
	out.standing, out.booked = nil, slices.Clone(sh.booked)
	var released []string
	for _, st := range sh.standing {
		needed := st.placed.Mixes && slices.ContainsFunc(sh.standing, func(other standing) bool {
			return other.placed.BathSet == st.placed.BathSet && !open(other)
		})
		if !open(st) || needed {
			out.standing = append(out.standing, st)
			continue
		}
		released = append(released, st.placed.ID)
		for _, film := range st.films {
			film.Session = &st.placed.Session
			out.booked = append(out.booked, film)
		}
	}
	return &out, released
}

// giveUp cancels planned batches; their rolls are back on the shelf, with the
// places they hold.
func giveUp(ctx context.Context, tx pgx.Tx, s lab.Scope, batches []string) error {
	for _, q := range []string{
		`UPDATE batches SET status = 'cancelled', version = version + 1 WHERE lab_id = $1 AND id = ANY($2)`,
		`UPDATE rolls SET status = 'on_shelf', version = version + 1 WHERE lab_id = $1
			AND id IN (SELECT roll_id FROM batch_rolls WHERE lab_id = $1 AND batch_id = ANY($2) AND live)`,
		`UPDATE batch_rolls SET live = false WHERE lab_id = $1 AND batch_id = ANY($2)`,
	} {
		if _, err := tx.Exec(ctx, q, s.Lab.ID, batches); err != nil {
			return fmt.Errorf("cancel batches: %w", err)
		}
	}
	return nil
}
