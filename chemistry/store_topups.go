package chemistry

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// NewTopUp is replenisher given to a bath.
type NewTopUp struct {
	VolumeML int64 `json:"volume_ml"`
	// Kit is the one that the replenisher comes from, the bath's own unless given.
	Kit  string `json:"kit,omitempty"`
	Note string `json:"note,omitempty"`
}

// A TopUp is replenisher given to a bath, as recorded.
type TopUp struct {
	ID       string    `json:"id"`
	Bath     string    `json:"bath"`
	VolumeML int64     `json:"volume_ml"`
	Note     string    `json:"note"`
	MadeBy   string    `json:"made_by"`
	MadeAt   time.Time `json:"made_at"`
}

// TopUpBath records replenisher given to a replenished bath: old solution is
// drawn off for it, so that the bath's volume stays. It refuses with NotFound;
// invalid, of a bath that is not replenished too; bath-dead if it is discarded
// or expired; and two-kits.
func TopUpBath(ctx context.Context, tx pgx.Tx, s lab.Scope, bathID string, in NewTopUp) (TopUp, error) {
	if err := lab.Touch(ctx, tx, s.Lab.ID); err != nil {
		return TopUp{}, err
	}
	b, err := oneBath(ctx, tx, s.Now, selectBaths+`AND b.id = $2 FOR NO KEY UPDATE OF b`, s.Lab.ID, bathID)
	if err != nil {
		return TopUp{}, err
	}
	var fs faults
	fs.between("/volume_ml", in.VolumeML, 1, b.VolumeML)
	if len([]rune(in.Note)) > 500 {
		fs.add("/note", "length", "want at most 500 characters")
	}
	if b.Use != Replenished {
		fs.add("", "not-replenished", "the %s is %s, and is not topped up", b.Role, b.Use)
	}
	if err := refuseFaults("", fs...); err != nil {
		return TopUp{}, err
	}
	if b.State == Discarded || b.State == Expired {
		return TopUp{}, lab.Refuse(lab.Conflict, "bath-dead", "the bath is %s: replenisher does not bring it back", b.State)
	}
	set, err := FindBathSet(ctx, tx, s.Lab.ID, b.BathSet, s.Now)
	if err != nil {
		return TopUp{}, err
	}
	if in.Kit != "" && in.Kit != set.Kit {
		return TopUp{}, twoKits()
	}
	out := TopUp{Bath: bathID, VolumeML: in.VolumeML, Note: in.Note, MadeBy: s.By.ID, MadeAt: s.Now}
	err = tx.QueryRow(ctx, `
		INSERT INTO top_ups (lab_id, id, bath_id, volume_ml, note, made_by, made_at)
		VALUES ($1, new_id('topup', $2), $3, $4, $5, $6, $2) RETURNING id`,
		s.Lab.ID, s.Now, bathID, in.VolumeML, in.Note, s.By.ID).Scan(&out.ID)
	if err != nil {
		return TopUp{}, fmt.Errorf("record top-up: %w", err)
	}
	if _, err := tx.Exec(ctx, `UPDATE baths SET version = version + 1 WHERE lab_id = $1 AND id = $2`, s.Lab.ID, bathID); err != nil {
		return TopUp{}, fmt.Errorf("record top-up: %w", err)
	}
	return out, nil
}

func twoKits() error {
	return lab.Refuse(lab.Conflict, "two-kits", "a bath is of one kit: what it can carry, how long it lasts and who pays for it would be nobody's to say")
}

// ListTopUps is a page of what a bath was topped up by, oldest first. It
// refuses with NotFound.
func ListTopUps(ctx context.Context, tx pgx.Tx, s lab.Scope, bathID string, page lab.Page) (lab.List[TopUp], error) {
	if _, err := FindBath(ctx, tx, s.Lab.ID, bathID, s.Now); err != nil {
		return lab.List[TopUp]{}, err
	}
	rows, err := tx.Query(ctx, `
		SELECT id, bath_id, volume_ml, note, made_by, made_at
		FROM top_ups WHERE lab_id = $1 AND bath_id = $2 AND id > $3 ORDER BY id LIMIT $4`, s.Lab.ID, bathID, page.After, page.Limit+1)
	if err != nil {
		return lab.List[TopUp]{}, fmt.Errorf("list top-ups: %w", err)
	}
	all, err := pgx.CollectRows(rows, pgx.RowToStructByPos[TopUp])
	if err != nil {
		return lab.List[TopUp]{}, fmt.Errorf("list top-ups: %w", err)
	}
	return lab.Cut(all, page, func(u TopUp) string { return u.ID }), nil
}
