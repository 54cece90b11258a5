package chemistry

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// A Disposal is how a bath left the lab.
type Disposal struct {
	To string `json:"to"`
	// VolumeML is what is left of it, and Kind by its role, unless given.
	VolumeML *int64     `json:"volume_ml,omitempty"`
	Kind     *WasteKind `json:"kind,omitempty"`
	Note     string     `json:"note,omitempty"`
}

// NewWaste is waste of no bath: what one-shot runs poured away, rinses, spills.
type NewWaste struct {
	Kind     WasteKind `json:"kind"`
	VolumeML int64     `json:"volume_ml"`
	To       string    `json:"to"`
	Note     string    `json:"note,omitempty"`
}

// Waste is what was thrown out, as logged.
type Waste struct {
	ID string `json:"id"`
	// Bath is the bath that it was, if one.
	Bath     string    `json:"bath,omitempty"`
	Kind     WasteKind `json:"kind"`
	VolumeML int64     `json:"volume_ml"`
	To       string    `json:"to"`
	Note     string    `json:"note"`
	LoggedBy string    `json:"logged_by,omitempty"`
	LoggedAt time.Time `json:"logged_at"`
}

// A WasteTotal is the waste of a kind that went one way in a calendar month of
// the lab's time zone.
type WasteTotal struct {
	Month    string    `json:"month"`
	Kind     WasteKind `json:"kind"`
	To       string    `json:"to"`
	VolumeML int64     `json:"volume_ml"`
	Entries  int64     `json:"entries"`
}

func (d Disposal) check(b Bath) (w NewWaste, fs faults) {
	w = NewWaste{Kind: WasteOf(b.Role), VolumeML: b.VolumeLeftML, To: d.To, Note: d.Note}
	if d.Kind != nil {
		w.Kind = *d.Kind
	}
	if d.VolumeML != nil {
		w.VolumeML = *d.VolumeML
		fs.between("/volume_ml", w.VolumeML, 0, b.VolumeML+b.ToppedUpML)
	}
	w.checkWords(&fs)
	return w, fs
}

func (w NewWaste) checkWords(fs *faults) {
	fs.text("/to", w.To, 200)
	if !w.Kind.Known() {
		fs.add("/kind", "unknown", "want silver_bearing, developer, bleach or other, not %q", w.Kind)
	}
	if len([]rune(w.Note)) > 500 {
		fs.add("/note", "length", "want at most 500 characters")
	}
}

// DiscardBath says that a bath is gone, how much of it and where to, and logs
// it as waste. It refuses with NotFound, invalid, stale, and bath-dead if it
// was discarded before.
func DiscardBath(ctx context.Context, tx pgx.Tx, s lab.Scope, bathID string, version int64, d Disposal) (Bath, error) {
	if err := lab.Touch(ctx, tx, s.Lab.ID); err != nil {
		return Bath{}, err
	}
	b, err := lockBath(ctx, tx, s, bathID, version)
	if err != nil {
		return Bath{}, err
	}
	w, fs := d.check(b)
	if err := refuseFaults("", fs...); err != nil {
		return Bath{}, err
	}
	if b.DiscardedAt != nil {
		return Bath{}, lab.Refuse(lab.Conflict, "bath-dead", "the bath is discarded already")
	}
	_, err = tx.Exec(ctx, `
		UPDATE baths SET discarded_at = $3, discarded_to = $4, version = version + 1
		WHERE lab_id = $1 AND id = $2`, s.Lab.ID, bathID, s.Now, d.To)
	if err != nil {
		return Bath{}, fmt.Errorf("discard bath: %w", err)
	}
	// A one-shot bath that is used up leaves nothing to log.
	if w.VolumeML > 0 {
		if _, err := insertWaste(ctx, tx, s, bathID, w); err != nil {
			return Bath{}, err
		}
	}
	return FindBath(ctx, tx, s.Lab.ID, bathID, s.Now)
}

// LogWaste logs waste of no bath. It refuses with invalid.
func LogWaste(ctx context.Context, tx pgx.Tx, s lab.Scope, w NewWaste) (Waste, error) {
	var fs faults
	fs.between("/volume_ml", w.VolumeML, 1, mostVolume)
	w.checkWords(&fs)
	if err := refuseFaults("", fs...); err != nil {
		return Waste{}, err
	}
	return insertWaste(ctx, tx, s, "", w)
}

func insertWaste(ctx context.Context, tx pgx.Tx, s lab.Scope, bathID string, w NewWaste) (Waste, error) {
	out := Waste{Bath: bathID, Kind: w.Kind, VolumeML: w.VolumeML, To: w.To, Note: w.Note, LoggedBy: s.By.ID, LoggedAt: s.Now}
	err := tx.QueryRow(ctx, `
		INSERT INTO waste (lab_id, id, bath_id, kind, volume_ml, went_to, note, logged_by, logged_at)
		VALUES ($1, new_id('waste', $2), nullif($3, ''), $4, $5, $6, $7, $8, $2) RETURNING id`,
		s.Lab.ID, s.Now, bathID, string(w.Kind), w.VolumeML, w.To, w.Note, s.By.ID).Scan(&out.ID)
	if err != nil {
		return Waste{}, fmt.Errorf("log waste: %w", err)
	}
	return out, nil
}

// ListWaste is a page of the lab's waste, oldest first.
func ListWaste(ctx context.Context, tx pgx.Tx, labID string, page lab.Page) (lab.List[Waste], error) {
	rows, err := tx.Query(ctx, `
		SELECT id, coalesce(bath_id, ''), kind, volume_ml, went_to, note, coalesce(logged_by, ''), logged_at
		FROM waste WHERE lab_id = $1 AND id > $2 ORDER BY id LIMIT $3`, labID, page.After, page.Limit+1)
	if err != nil {
		return lab.List[Waste]{}, fmt.Errorf("list waste: %w", err)
	}
	all, err := pgx.CollectRows(rows, pgx.RowToStructByPos[Waste])
	if err != nil {
		return lab.List[Waste]{}, fmt.Errorf("list waste: %w", err)
	}
	return lab.Cut(all, page, func(w Waste) string { return w.ID }), nil
}

// WasteTotals are the lab's waste by month, kind and destination, from the
// month of an instant to that of another, both counted; nil is without end.
func WasteTotals(ctx context.Context, tx pgx.Tx, l lab.Lab, from, until *time.Time) ([]WasteTotal, error) {
	month := func(t *time.Time) *string {
		if t == nil {
			return nil
		}
		m := t.In(l.Location()).Format("2006-01")
		return &m
	}
	rows, err := tx.Query(ctx, `
		SELECT * FROM (
			SELECT to_char(logged_at AT TIME ZONE $2, 'YYYY-MM') AS month, kind, went_to, sum(volume_ml)::bigint, count(*)
			FROM waste WHERE lab_id = $1 GROUP BY 1, 2, 3) AS totals
		WHERE ($3::text IS NULL OR month >= $3) AND ($4::text IS NULL OR month <= $4)
		ORDER BY month, kind, went_to COLLATE "C"`, l.ID, l.TimeZone, month(from), month(until))
	if err != nil {
		return nil, fmt.Errorf("sum up waste: %w", err)
	}
	totals, err := pgx.CollectRows(rows, pgx.RowToStructByPos[WasteTotal])
	if err != nil {
		return nil, fmt.Errorf("sum up waste: %w", err)
	}
	return totals, nil
}
