package scheduling

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
	"wetside/lab/units"
	"wetside/scheduling/planner"
)

// CommitPlan makes a draft's batches the lab's, in place of those it replaces,
// if nothing that it was computed from has changed since; its rolls leave the
// shelf. It refuses with
//
//   - plan-stale: the lab's schedule has changed, or a batch should have begun
//   - stale: the plan itself is at another version
//   - plan-not-draft: committed or superseded already
func CommitPlan(ctx context.Context, tx pgx.Tx, s lab.Scope, id string, version int64) (Plan, error) {
	now, err := lab.Lock(ctx, tx, s.Lab.ID)
	if err != nil {
		return Plan{}, err
	}
	p, err := FindPlan(ctx, tx, s.Lab.ID, id)
	switch {
	case err != nil:
		return Plan{}, err
	case p.State != Draft:
		return Plan{}, lab.Refuse(lab.Conflict, "plan-not-draft", "the plan is %s", p.State)
	case p.ScheduleVersion != now.ScheduleVersion:
		return Plan{}, lab.Refuse(lab.Stale, "plan-stale", "bookings, rolls or equipment have changed since the plan was made; plan again")
	case p.Version != version:
		return Plan{}, stale("plan")
	}
	for _, b := range p.Batches {
		if b.Start.Before(s.Now) {
			return Plan{}, lab.Refuse(lab.Stale, "plan-stale", "batch %s should have begun by now; plan again", b.ID)
		}
	}
	if err := judge(p.Problem, &p.Plan); err != nil {
		return Plan{}, err
	}
	if err := giveUp(ctx, tx, s, p.Replaces); err != nil {
		return Plan{}, err
	}
	for _, b := range p.Batches {
		if err := insertBatch(ctx, tx, s, p, b); err != nil {
			return Plan{}, err
		}
	}
	_, err = tx.Exec(ctx, `
		UPDATE plans SET
			committed_at = CASE WHEN id = $2 THEN $3::timestamptz END,
			superseded_at = CASE WHEN id = $2 THEN NULL ELSE $3::timestamptz END,
			version = version + 1
		WHERE lab_id = $1 AND committed_at IS NULL AND superseded_at IS NULL`, s.Lab.ID, id, s.Now)
	if err != nil {
		return Plan{}, fmt.Errorf("commit plan: %w", err)
	}
	if err := lab.Touch(ctx, tx, s.Lab.ID); err != nil {
		return Plan{}, err
	}
	return FindPlan(ctx, tx, s.Lab.ID, id)
}

// insertBatch writes one batch of a plan and takes its rolls off the shelf.
func insertBatch(ctx context.Context, tx pgx.Tx, s lab.Scope, p Plan, b planner.Batch) error {
	placed, err := json.Marshal(b)
	if err != nil {
		return fmt.Errorf("store batch: %w", err)
	}
	push, developing, err := classOf(ctx, tx, s, p.Problem, b)
	if err != nil {
		return err
	}
	kit, set := kitOfPortion(b.BathSet), (*string)(nil)
	if !isPortion(b.BathSet) {
		mixed, err := chemistry.FindBathSet(ctx, tx, s.Lab.ID, b.BathSet, s.Now)
		if err != nil {
			return err
		}
		kit, set = mixed.Kit, &mixed.ID
	}
	var id string
	err = tx.QueryRow(ctx, `
		INSERT INTO batches (lab_id, id, plan_id, session_id, tank_id, process, push, developing_s, kit_id, bath_set_id,
			mixes, start_at, wet_at, end_at, clear_at, placed, status)
		VALUES ($1, new_id('batch', $2), $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, 'planned')
		RETURNING id`,
		s.Lab.ID, s.Now, p.ID, b.Session, b.Tank, b.Process, push, developing, kit, set,
		b.Mixes, b.Start, b.Wet, b.End, b.Clear, placed).Scan(&id)
	if err != nil {
		return fmt.Errorf("store batch: %w", err)
	}
	for _, pl := range b.Rolls {
		_, err := tx.Exec(ctx, `
			INSERT INTO batch_rolls (lab_id, batch_id, roll_id, cabinet_id, dry_at) VALUES ($1, $2, $3, $4, $5)`,
			s.Lab.ID, id, pl.Roll, pl.Cabinet, pl.DryAt)
		if err != nil {
			return fmt.Errorf("store batch's rolls: %w", err)
		}
		tag, err := tx.Exec(ctx, `
			UPDATE rolls SET status = 'batched', version = version + 1
			WHERE lab_id = $1 AND id = $2 AND status = 'on_shelf'`, s.Lab.ID, pl.Roll)
		if err != nil {
			return fmt.Errorf("take roll off the shelf: %w", err)
		}
		if tag.RowsAffected() != 1 {
			return fmt.Errorf("roll %s of an unchanged lab is not on the shelf", pl.Roll)
		}
	}
	return nil
}

// classOf is the push and developing time that a batch runs by: those of the
// first of its rolls that is of the batch's class.
func classOf(ctx context.Context, tx pgx.Tx, s lab.Scope, p *planner.Problem, b planner.Batch) (push int, developing units.Duration, err error) {
	class := map[string]string{}
	for _, r := range p.Rolls {
		class[r.ID] = r.Class
	}
	for _, c := range p.Classes {
		if c.ID == b.Class {
			developing = c.Developing
		}
	}
	for _, pl := range b.Rolls {
		if class[pl.Roll] == b.Class {
			err = tx.QueryRow(ctx, `SELECT push FROM rolls WHERE lab_id = $1 AND id = $2`, s.Lab.ID, pl.Roll).Scan(&push)
			if err != nil {
				return 0, 0, fmt.Errorf("find push of batch: %w", err)
			}
			return push, developing, nil
		}
	}
	return 0, 0, fmt.Errorf("no roll of batch %s is of its class %s", b.ID, b.Class)
}
