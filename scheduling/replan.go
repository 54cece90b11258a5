package scheduling

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
	"wetside/scheduling/planner"
)

// release is the shop with planned batches that have not begun, and that start
// in [from, until), taken apart: all of them, or only those that cannot be run
// as they are. Their rolls may be batched anew: they keep their sessions, as if
// booked there, but for rolls of a batch that cannot be run, which are bound only
// to what their members booked. It says which batches those were. A batch that
// mixes a kit for batches that stay, stays.
func (sh *shop) release(from, until time.Time, all bool) (*shop, []planner.Batch) {
	broken := sh.broken()
	open := func(st standing) bool {
		start := st.placed.Start
		return !st.done && start.After(sh.s.Now) && !start.Before(from) && start.Before(until) && (all || broken[st.placed.ID])
	}
	out := *sh
	out.standing, out.booked, out.shelf = nil, slices.Clone(sh.booked), slices.Clone(sh.shelf)
	var released []planner.Batch
	for _, st := range sh.standing {
		needed := st.placed.Mixes && slices.ContainsFunc(sh.standing, func(other standing) bool {
			return other.placed.BathSet == st.placed.BathSet && !open(other)
		})
		if !open(st) || needed {
			out.standing = append(out.standing, st)
			continue
		}
		released = append(released, st.placed)
		for _, film := range st.films {
			if broken[st.placed.ID] && film.Session == nil {
				out.shelf = append(out.shelf, film)
				continue
			}
			if film.Session == nil {
				film.Session = &st.placed.Session
			}
			out.booked = append(out.booked, film)
		}
	}
	return &out, released
}

// broken finds the planned batches that can no longer be run as they are: the
// tank or a cabinet is out of order, the session cancelled, the bath set thrown
// out, in quarantine or one of its baths dead before its step begins, the kit gone or past its
// shelf life; and those that wait for a kit which such a batch was to mix.
func (sh *shop) broken() map[string]bool {
	out := map[string]bool{}
	unmixed := map[string]bool{}
	for _, st := range sh.standing {
		if !st.done && sh.stopped(st) {
			out[st.placed.ID] = true
			unmixed[st.placed.BathSet] = unmixed[st.placed.BathSet] || st.placed.Mixes
		}
	}
	for _, st := range sh.standing {
		if !st.done && unmixed[st.placed.BathSet] {
			out[st.placed.ID] = true
		}
	}
	return out
}

// stopped says that one batch can no longer be run as it is.
func (sh *shop) stopped(st standing) bool {
	b := st.placed
	out := slices.ContainsFunc(sh.tanks, func(t lab.Tank) bool { return t.ID == b.Tank && t.OutOfOrder })
	for _, pl := range b.Rolls {
		out = out || slices.ContainsFunc(sh.cabinets, func(c lab.Cabinet) bool { return c.ID == pl.Cabinet && c.OutOfOrder })
	}
	if e, ok := sh.sessions[b.Session]; out || !ok || e.CancelledAt != nil {
		return true
	}
	if isPortion(b.BathSet) {
		return !slices.ContainsFunc(sh.kits, func(k chemistry.Kit) bool {
			return k.ID == kitOfPortion(b.BathSet) && (!b.Mixes || !b.Start.After(k.UsableUntil()))
		})
	}
	steps := sh.processes[b.Process].WorstSchedule(st.push, st.dev, sh.definitions(b.Process)...).Baths()
	return !slices.ContainsFunc(sh.sets, func(set chemistry.BathSet) bool {
		return set.ID == b.BathSet && !slices.ContainsFunc(set.Baths, func(bath chemistry.Bath) bool {
			for _, step := range steps {
				if step.Step.Role == bath.Role && b.Wet.Add(step.Begins.Std()).After(bath.ExpiresAt) {
					return true
				}
			}
			return false
		})
	})
}

// ids are those of batches.
func ids(batches []planner.Batch) []string {
	out := make([]string, 0, len(batches))
	for _, b := range batches {
		out = append(out, b.ID)
	}
	return out
}

// stood adds to where the plan before had the problem's rolls where batches
// taken apart had them.
func stood(previous []planner.Hold, released []planner.Batch, rolls []planner.Roll) []planner.Hold {
	for _, b := range released {
		for _, pl := range b.Rolls {
			if !slices.ContainsFunc(rolls, func(r planner.Roll) bool { return r.ID == pl.Roll }) {
				continue
			}
			previous = slices.DeleteFunc(previous, func(h planner.Hold) bool { return h.Roll == pl.Roll })
			previous = append(previous, planner.Hold{Roll: pl.Roll, Session: b.Session})
		}
	}
	return previous
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
