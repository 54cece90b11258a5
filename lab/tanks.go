package lab

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"wetside/lab/units"
)

// A Tank is what runs happen in.
type Tank struct {
	ID   string `json:"id"`
	Name string `json:"name"`
	// HeightMM is how high reels may stack.
	HeightMM int64 `json:"height_mm"`
	// VolumeML is the most solution that it takes.
	VolumeML int64 `json:"volume_ml"`
	// HeaterW is the heater's power; 0 is a tank without one.
	HeaterW int64 `json:"heater_w"`
	// ReelKinds are the codes of the reels that fit.
	ReelKinds []string `json:"reel_kinds"`
	// CleanUp follows every run; Flush stands between unlike processes.
	CleanUp    units.Duration `json:"clean_up"`
	Flush      units.Duration `json:"flush"`
	OutOfOrder bool           `json:"out_of_order"`
	Version    int64          `json:"-"`
}

const tankColumns = `id, name, height_mm, volume_ml, heater_w, reel_kinds, clean_up_s, flush_s, out_of_order, version`

// Revision counts changes of the tank's record.
func (t Tank) Revision() int64 { return t.Version }

// A NewTank is a tank to be set up.
type NewTank struct {
	Name      string         `json:"name"`
	HeightMM  int64          `json:"height_mm"`
	VolumeML  int64          `json:"volume_ml"`
	HeaterW   int64          `json:"heater_w"`
	ReelKinds []string       `json:"reel_kinds"`
	CleanUp   units.Duration `json:"clean_up"`
	Flush     units.Duration `json:"flush"`
}

// check refuses with Invalid what no tank can be, given the lab's reels.
func (t NewTank) check(reels map[string]ReelKind) error {
	r := Refuse(Invalid, "invalid", "there can be no such tank")
	checkName(r, "/name", t.Name)
	checkRange(r, "/height_mm", t.HeightMM, 1, 10_000)
	checkRange(r, "/volume_ml", t.VolumeML, 1, 1_000_000)
	checkRange(r, "/heater_w", t.HeaterW, 0, 100_000)
	checkSpan(r, "/clean_up", t.CleanUp, 0)
	checkSpan(r, "/flush", t.Flush, 0)
	seen := map[string]bool{}
	for i, code := range t.ReelKinds {
		pointer := fmt.Sprintf("/reel_kinds/%d", i)
		kind, there := reels[code]
		switch {
		case !there:
			r.With(pointer, "unknown", "the lab has no such reels")
		case seen[code]:
			r.With(pointer, "duplicate", "these reels are named twice")
		case kind.HeightMM > t.HeightMM:
			r.With(pointer, "too-high", "the reel is %d mm high, the tank %d mm", kind.HeightMM, t.HeightMM)
		case kind.SolutionML > t.VolumeML:
			r.With(pointer, "too-much", "the reel takes %d mL to cover, the tank holds %d mL", kind.SolutionML, t.VolumeML)
		}
		seen[code] = true
	}
	return r.OrNil()
}

// checkTank holds a tank against the reels that the lab has.
func checkTank(ctx context.Context, tx pgx.Tx, labID string, t NewTank) error {
	rows, err := tx.Query(ctx, `SELECT `+reelKindColumns+` FROM reel_kinds
		WHERE lab_id = $1 AND code = ANY($2) ORDER BY code`, labID, t.ReelKinds)
	if err != nil {
		return fmt.Errorf("find reels: %w", err)
	}
	kinds, err := pgx.CollectRows(rows, pgx.RowToStructByPos[ReelKind])
	if err != nil {
		return fmt.Errorf("find reels: %w", err)
	}
	reels := map[string]ReelKind{}
	for _, k := range kinds {
		reels[k.Code] = k
	}
	return t.check(reels)
}

// AddTank sets a tank up. It refuses with Invalid, and with Conflict
// ("name-taken").
func AddTank(ctx context.Context, tx pgx.Tx, s Scope, in NewTank) (Tank, error) {
	if err := Touch(ctx, tx, s.Lab.ID); err != nil {
		return Tank{}, err
	}
	if err := checkTank(ctx, tx, s.Lab.ID, in); err != nil {
		return Tank{}, err
	}
	t, err := one[Tank](ctx, tx, `INSERT INTO tanks
			(lab_id, id, name, height_mm, volume_ml, heater_w, reel_kinds, clean_up_s, flush_s)
		VALUES ($1, new_id('tank', $2), $3, $4, $5, $6, $7, $8, $9)
		RETURNING `+tankColumns, s.Lab.ID, s.Now, in.Name, in.HeightMM, in.VolumeML, in.HeaterW,
		append([]string{}, in.ReelKinds...), in.CleanUp, in.Flush)
	if Violates(err, UniqueViolation, "tanks_name") {
		return Tank{}, errTaken("/name", "tank")
	}
	if err != nil {
		return Tank{}, fmt.Errorf("add tank: %w", err)
	}
	return t, nil
}

// FindTank reads a tank. It refuses with NotFound.
func FindTank(ctx context.Context, tx pgx.Tx, labID, id string) (Tank, error) {
	return find[Tank](ctx, tx, "tank",
		`SELECT `+tankColumns+` FROM tanks WHERE lab_id = $1 AND id = $2`, labID, id)
}

// Tanks lists a lab's tanks in the order they were set up.
func Tanks(ctx context.Context, tx pgx.Tx, labID string, p Page) (List[Tank], error) {
	return page(ctx, tx, p, func(t Tank) string { return t.ID },
		`SELECT `+tankColumns+` FROM tanks
		WHERE lab_id = $3 AND id > $1 ORDER BY id LIMIT $2`, labID)
}

// A TankChange is what may change of a tank; nil leaves a field as it is.
type TankChange struct {
	Name       *string         `json:"name"`
	ReelKinds  *[]string       `json:"reel_kinds"`
	HeaterW    *int64          `json:"heater_w"`
	CleanUp    *units.Duration `json:"clean_up"`
	Flush      *units.Duration `json:"flush"`
	OutOfOrder *bool           `json:"out_of_order"`
}

// ChangeTank changes a tank, of which the caller has seen the given version;
// plans made before go stale. It refuses with Invalid, NotFound, Stale, and
// Conflict ("name-taken").
func ChangeTank(ctx context.Context, tx pgx.Tx, s Scope, id string, version int64, in TankChange) (Tank, error) {
	if err := Touch(ctx, tx, s.Lab.ID); err != nil {
		return Tank{}, err
	}
	t, err := FindTank(ctx, tx, s.Lab.ID, id)
	if err != nil {
		return Tank{}, err
	}
	if t.Version != version { // nobody else changes it: Touch holds the lab
		return Tank{}, errStale("tank")
	}
	n := NewTank{
		Name: or(in.Name, t.Name), HeightMM: t.HeightMM, VolumeML: t.VolumeML,
		HeaterW: or(in.HeaterW, t.HeaterW), ReelKinds: or(in.ReelKinds, t.ReelKinds),
		CleanUp: or(in.CleanUp, t.CleanUp), Flush: or(in.Flush, t.Flush),
	}
	if err := checkTank(ctx, tx, s.Lab.ID, n); err != nil {
		return Tank{}, err
	}
	t, err = one[Tank](ctx, tx, `UPDATE tanks
		SET name = $4, heater_w = $5, reel_kinds = $6, clean_up_s = $7, flush_s = $8, out_of_order = $9,
			version = version + 1
		WHERE lab_id = $1 AND id = $2 AND version = $3
		RETURNING `+tankColumns, s.Lab.ID, id, version,
		n.Name, n.HeaterW, n.ReelKinds, n.CleanUp, n.Flush, or(in.OutOfOrder, t.OutOfOrder))
	if Violates(err, UniqueViolation, "tanks_name") {
		return Tank{}, errTaken("/name", "tank")
	}
	if err != nil {
		return Tank{}, fmt.Errorf("change tank: %w", err)
	}
	return t, nil
}
