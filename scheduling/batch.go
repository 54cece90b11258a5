package scheduling

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
	"wetside/lab/units"
	"wetside/scheduling/planner"
)

// A Batch is the rolls that go through one run together.
type Batch struct {
	ID         string              `json:"id"`
	Plan       string              `json:"plan"`
	Session    string              `json:"session"`
	Tank       string              `json:"tank"`
	Process    string              `json:"process"`
	Push       int                 `json:"push"`
	Developing units.Duration      `json:"developing"`
	Kit        string              `json:"kit"`
	BathSet    *string             `json:"bath_set,omitempty"`
	Mixes      bool                `json:"mixes"`
	Start      time.Time           `json:"start"`
	Wet        time.Time           `json:"wet"`
	End        time.Time           `json:"end"`
	Clear      time.Time           `json:"clear"`
	Reels      []planner.ReelUse   `json:"reels"`
	Rolls      []planner.Placement `json:"rolls"`
	Status     BatchStatus         `json:"status"`
	Version    int64               `json:"-"`
	// waitsFor is the bath set by the plan's name, a portion of the kit until it is mixed.
	waitsFor string
}

// Revision is the batch's version, for conditional requests.
func (b Batch) Revision() int64 { return b.Version }

// A BatchStatus is what became of a batch.
type BatchStatus string

// The statuses of a batch.
const (
	BatchPlanned   BatchStatus = "planned"
	BatchDone      BatchStatus = "done"
	BatchSpoiled   BatchStatus = "spoiled"
	BatchCancelled BatchStatus = "cancelled"
)

func queryBatches(ctx context.Context, tx pgx.Tx, where string, args ...any) ([]Batch, error) {
	rows, err := tx.Query(ctx, `
		SELECT id, plan_id, session_id, tank_id, process, push, developing_s, kit_id, bath_set_id, mixes,
			start_at, wet_at, end_at, clear_at, placed, status, version
		FROM batches WHERE `+where, args...)
	if err != nil {
		return nil, fmt.Errorf("read batches: %w", err)
	}
	batches, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (Batch, error) {
		var b Batch
		var placed json.RawMessage
		err := row.Scan(&b.ID, &b.Plan, &b.Session, &b.Tank, &b.Process, &b.Push, &b.Developing, &b.Kit, &b.BathSet, &b.Mixes,
			&b.Start, &b.Wet, &b.End, &b.Clear, &placed, &b.Status, &b.Version)
		if err != nil {
			return b, err
		}
		var was planner.Batch
		if err := json.Unmarshal(placed, &was); err != nil {
			return b, err
		}
		b.Reels, b.Rolls, b.waitsFor = was.Reels, was.Rolls, was.BathSet
		return b, nil
	})
	if err != nil {
		return nil, fmt.Errorf("read batches: %w", err)
	}
	return batches, nil
}

// FindBatch reads a batch. It refuses with NotFound.
func FindBatch(ctx context.Context, tx pgx.Tx, labID, id string) (Batch, error) {
	batches, err := queryBatches(ctx, tx, `lab_id = $1 AND id = $2`, labID, id)
	if err != nil {
		return Batch{}, err
	}
	if len(batches) == 0 {
		return Batch{}, lab.Refuse(lab.NotFound, "not-found", "there is no such batch")
	}
	return batches[0], nil
}

// A BatchFilter narrows a list of batches; empty fields do not.
type BatchFilter struct {
	Session string
	Status  string
}

// ListBatches reads the batches, by start.
func ListBatches(ctx context.Context, tx pgx.Tx, labID string, f BatchFilter, p lab.Page) (lab.List[Batch], error) {
	batches, err := queryBatches(ctx, tx, `lab_id = $1
			AND ($2 = '' OR (start_at, id) > (SELECT c.start_at, c.id FROM batches c WHERE c.lab_id = $1 AND c.id = $2))
			AND ($3 = '' OR session_id = $3) AND ($4 = '' OR status = $4)
		ORDER BY start_at, id LIMIT $5`, labID, p.After, f.Session, f.Status, p.Limit+1)
	if err != nil {
		return lab.List[Batch]{}, err
	}
	return lab.Cut(batches, p, func(b Batch) string { return b.ID }), nil
}

// CancelBatch gives a planned batch up; its rolls go back on the shelf, with
// the places they hold. It refuses with batch-not-planned, and with
// batch-mixes-for-others while other batches wait for the kit that it mixes.
func CancelBatch(ctx context.Context, tx pgx.Tx, s lab.Scope, id string, version int64) (Batch, error) {
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return Batch{}, err
	}
	b, err := FindBatch(ctx, tx, s.Lab.ID, id)
	switch {
	case err != nil:
		return Batch{}, err
	case b.Version != version:
		return Batch{}, stale("batch")
	case b.Status != BatchPlanned:
		return Batch{}, lab.Refuse(lab.Conflict, "batch-not-planned", "the batch is %s", b.Status)
	}
	if b.Mixes && b.BathSet == nil {
		others, err := waiting(ctx, tx, s.Lab.ID, b.waitsFor)
		if err != nil {
			return Batch{}, err
		}
		if len(others) > 1 {
			return Batch{}, lab.Refuse(lab.Conflict, "batch-mixes-for-others",
				"%d other batches wait for the kit that this one mixes; cancel them first, or mix the kit", len(others)-1)
		}
	}
	if err := giveUp(ctx, tx, s, []string{id}); err != nil {
		return Batch{}, err
	}
	if err := lab.Touch(ctx, tx, s.Lab.ID); err != nil {
		return Batch{}, err
	}
	if err := OfferPlaces(ctx, tx, s); err != nil {
		return Batch{}, err
	}
	return FindBatch(ctx, tx, s.Lab.ID, id)
}

// waiting reads the planned batches that wait for a portion of a kit, by start.
func waiting(ctx context.Context, tx pgx.Tx, labID, portion string) ([]Batch, error) {
	return queryBatches(ctx, tx, `lab_id = $1 AND status = 'planned' AND bath_set_id IS NULL
		AND placed->>'bath_set' = $2 ORDER BY start_at, id`, labID, portion)
}

// Mix mixes a portion of a kit into a bath set; the planned batches that wait
// for a portion of it, first come first, now have it. It refuses as chemistry.MixKit does.
func Mix(ctx context.Context, tx pgx.Tx, s lab.Scope, in chemistry.NewMix) (chemistry.BathSet, error) {
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return chemistry.BathSet{}, err
	}
	set, err := chemistry.MixKit(ctx, tx, s, in)
	if err != nil {
		return chemistry.BathSet{}, at("/kit", err)
	}
	_, err = tx.Exec(ctx, `
		WITH pending AS (
			SELECT id, split_part(placed->>'bath_set', '/', 2)::bigint AS portion FROM batches
			WHERE lab_id = $1 AND kit_id = $2 AND status = 'planned' AND bath_set_id IS NULL)
		UPDATE batches SET bath_set_id = $3, version = version + 1
		WHERE lab_id = $1 AND id IN (SELECT id FROM pending WHERE portion = (SELECT min(portion) FROM pending))`,
		s.Lab.ID, in.Kit, set.ID)
	if err != nil {
		return chemistry.BathSet{}, fmt.Errorf("give batches their baths: %w", err)
	}
	return set, nil
}
