package scheduling

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
	"wetside/lab/units"
)

// NewRoll is what a member says of a roll at the counter.
type NewRoll struct {
	Format string `json:"format"`
	// LengthMM is for formats that come in any length.
	LengthMM int64  `json:"length_mm,omitempty"`
	Process  string `json:"process"`
	Push     int    `json:"push,omitempty"`
	// Developing is for processes that ask each film's own time.
	Developing *units.Duration `json:"developing,omitempty"`
	Due        *time.Time      `json:"due,omitempty"`
	Note       string          `json:"note,omitempty"`
	// Member and Priority are the steward's to give.
	Member   string `json:"member,omitempty"`
	Priority int64  `json:"priority,omitempty"`
}

// furthestDue bounds due dates.
const furthestDue = 5 * 365 * 24 * time.Hour

// HandIn takes a roll over the counter. It refuses with
//
//   - invalid: what the format or process does not know, a due date that is past
//   - unserviceable-roll: what no reel, tank or cabinet of this lab can serve,
//     with each of those as a fault
func HandIn(ctx context.Context, tx pgx.Tx, s lab.Scope, in NewRoll) (Roll, error) {
	member, err := owner(ctx, tx, s, in)
	if err != nil {
		return Roll{}, err
	}
	roll, err := describe(ctx, tx, s, in)
	if err != nil {
		return Roll{}, err
	}
	var id string
	err = tx.QueryRow(ctx, `
		INSERT INTO rolls (lab_id, id, member_id, format, length_mm, process, push, developing_s,
			trade_area_mm2, geometric_area_mm2, reel_kind, priority, due, note, handed_in_at, status)
		VALUES ($1, new_id('roll', $2), $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $2, 'on_shelf')
		RETURNING id`,
		s.Lab.ID, s.Now, member, roll.Format, roll.LengthMM, roll.Process, roll.Push, roll.Developing,
		roll.Area.Trade, roll.Area.Geometric, roll.ReelKind, roll.Priority, roll.Due, roll.Note).Scan(&id)
	if err != nil {
		return Roll{}, fmt.Errorf("hand in roll: %w", err)
	}
	return FindRoll(ctx, tx, s, id)
}

// describe is the roll that would come of what is said of it at the counter,
// without an id or a member. It refuses as HandIn does.
func describe(ctx context.Context, tx pgx.Tx, s lab.Scope, in NewRoll) (Roll, error) {
	no := lab.Refuse(lab.Invalid, "invalid", "the roll cannot be taken as described")
	fault := func(pointer string, err error) error {
		var f chemistry.Fault
		switch {
		case errors.As(err, &f):
			_ = no.With(f.Pointer, f.Code, "%s", f.Detail)
		case lab.RefusalCode(err) == "not-found":
			_ = no.With(pointer, "unknown", "the lab has no such %s", pointer[1:])
		default:
			return err
		}
		return nil
	}
	format, err := chemistry.FindFormat(ctx, tx, s.Lab.ID, in.Format)
	if err != nil {
		if err := fault("/format", err); err != nil {
			return Roll{}, err
		}
	}
	process, err := chemistry.FindProcess(ctx, tx, s.Lab.ID, in.Process, 0)
	if err != nil {
		if err := fault("/process", err); err != nil {
			return Roll{}, err
		}
	}
	if in.Due != nil && (!in.Due.After(s.Now) || in.Due.Sub(s.Now) > furthestDue) {
		_ = no.With("/due", "out-of-range", "want a time to come, within five years")
	}
	if err := no.OrNil(); err != nil {
		return Roll{}, err
	}
	film, err := chemistry.MeasureFilm(format, in.LengthMM)
	if err != nil {
		if err := fault("/length_mm", err); err != nil {
			return Roll{}, err
		}
	}
	if _, err := process.Developing(in.Push, in.Developing); err != nil {
		if err := fault("/developing", err); err != nil {
			return Roll{}, err
		}
	}
	if err := no.OrNil(); err != nil {
		return Roll{}, err
	}
	if err := serviceable(ctx, tx, s, format, film, process); err != nil {
		return Roll{}, err
	}
	return Roll{
		Format: format.Code, LengthMM: film.LengthMM, Process: process.Code, Push: in.Push, Developing: in.Developing,
		Area:     FilmArea{Trade: film.Areas.Trade, Geometric: film.Areas.Geometric, Counts: s.Lab.AreaRule},
		ReelKind: format.ReelKind, Priority: max(in.Priority, 1), Due: in.Due, Note: in.Note,
		HandedInAt: s.Now, Status: OnShelf,
	}, nil
}

// owner is whose roll it is: the member's own, or whose the steward says.
func owner(ctx context.Context, tx pgx.Tx, s lab.Scope, in NewRoll) (string, error) {
	steward := s.By.Has(lab.RoleSteward)
	if in.Priority != 0 && !steward {
		return "", lab.Refuse(lab.Forbidden, "forbidden", "a roll's priority is the steward's to set").
			With("/priority", "forbidden", "leave it out")
	}
	if in.Member == "" || in.Member == s.By.ID {
		return s.By.ID, nil
	}
	if !steward {
		return "", lab.Refuse(lab.Forbidden, "forbidden", "only a steward hands in rolls for others").
			With("/member", "forbidden", "leave it out")
	}
	m, err := lab.PresentMember(ctx, tx, s.Lab.ID, in.Member)
	if lab.RefusalCode(err) == "not-found" {
		err = lab.Refuse(lab.Invalid, "invalid", "the roll cannot be taken as described").
			With("/member", "unknown", "the lab has no such member")
	}
	return m.ID, err
}

// serviceable refuses a roll that nothing in this lab could ever take, with
// every reason that holds.
func serviceable(ctx context.Context, tx pgx.Tx, s lab.Scope, f chemistry.Format, film chemistry.Film, p chemistry.Process) error {
	eq, err := readEquipment(ctx, tx, s.Lab.ID)
	if err != nil {
		return err
	}
	no := lab.Refuse(lab.Invalid, "unserviceable-roll", "this lab cannot develop such a roll")
	at := slices.IndexFunc(eq.reels, func(k lab.ReelKind) bool { return k.Code == f.ReelKind && k.Count > 0 })
	if at < 0 {
		_ = no.With("/format", "no-reel", "%s needs a reel of kind %s and the lab has none", f.Name, f.ReelKind)
	} else if longest := eq.reels[at].LongestMM; longest != nil && film.LengthMM > *longest {
		_ = no.With("/length_mm", "too-long", "%s takes %d mm and the film is %d mm", eq.reels[at].Name, *longest, film.LengthMM)
	} else {
		takes, heats := false, false
		for _, t := range eq.tanks {
			reel := eq.reels[at]
			if !slices.Contains(t.ReelKinds, reel.Code) || reel.HeightMM > t.HeightMM || reel.SolutionML > t.VolumeML {
				continue
			}
			takes = true
			_, err := chemistry.WarmUp(t.VolumeML, s.Lab.RoomTemperature, p.WorkingTemperature(), t.HeaterW, s.Lab.HeaterEfficiencyPermille)
			heats = heats || err == nil
		}
		switch {
		case !takes:
			_ = no.With("/format", "no-tank", "no tank of the lab takes the reel that %s needs", f.Name)
		case !heats:
			_ = no.With("/process", "no-tank", "no tank that takes the reel can be brought to %s for %s", p.WorkingTemperature(), p.Name)
		}
	}
	hangs := slices.ContainsFunc(eq.cabinets, func(c lab.Cabinet) bool {
		n := chemistry.Positions(f, film.LengthMM, c.DropMM)
		return n > 0 && n <= c.Positions
	})
	if !hangs {
		_ = no.With("/format", "no-cabinet", "no cabinet of the lab can dry %d mm of %s", film.LengthMM, f.Name)
	}
	return no.OrNil()
}

// RollChange is what may be changed of a roll on the shelf; nil fields stay.
type RollChange struct {
	// Due may be null: due no longer.
	Due      units.Optional[time.Time] `json:"due,omitzero"`
	Note     *string                   `json:"note,omitempty"`
	Priority *int64                    `json:"priority,omitempty"`
}

// ChangeRoll changes a roll that is still on the shelf; its priority is the
// steward's alone to change.
func ChangeRoll(ctx context.Context, tx pgx.Tx, s lab.Scope, id string, version int64, in RollChange) (Roll, error) {
	if in.Priority != nil && !s.By.Has(lab.RoleSteward) {
		return Roll{}, lab.Refuse(lab.Forbidden, "forbidden", "a roll's priority is the steward's to set").
			With("/priority", "forbidden", "leave it out")
	}
	if due := in.Due.To; due != nil && (!due.After(s.Now) || due.Sub(s.Now) > furthestDue) {
		return Roll{}, lab.Refuse(lab.Invalid, "invalid", "the roll cannot be changed so").
			With("/due", "out-of-range", "want a time to come, within five years")
	}
	return alterRoll(ctx, tx, s, id, version, []RollStatus{OnShelf, Booked}, `
		UPDATE rolls SET due = CASE WHEN $7 THEN $4 ELSE due END, note = coalesce($5, note), priority = coalesce($6, priority),
			version = version + 1
		WHERE lab_id = $1 AND id = $2 AND version = $3`, in.Due.To, in.Note, in.Priority, in.Due.Given)
}

// WithdrawRoll takes a roll that is not booked off the shelf, undeveloped.
func WithdrawRoll(ctx context.Context, tx pgx.Tx, s lab.Scope, id string, version int64) error {
	_, err := alterRoll(ctx, tx, s, id, version, []RollStatus{OnShelf}, `
		UPDATE rolls SET status = 'withdrawn', version = version + 1 WHERE lab_id = $1 AND id = $2 AND version = $3`)
	if err != nil {
		return err
	}
	if _, err := tx.Exec(ctx, `DELETE FROM directions WHERE lab_id = $1 AND roll_id = $2`, s.Lab.ID, id); err != nil {
		return fmt.Errorf("withdraw roll: %w", err)
	}
	return nil
}

// CollectRoll hands a dry or spoiled roll back over the counter.
func CollectRoll(ctx context.Context, tx pgx.Tx, s lab.Scope, id string) (Roll, error) {
	roll, err := FindRoll(ctx, tx, s, id)
	if err != nil {
		return Roll{}, err
	}
	return alterRoll(ctx, tx, s, id, roll.Version, []RollStatus{Ready, Spoiled}, `
		UPDATE rolls SET status = 'collected', version = version + 1 WHERE lab_id = $1 AND id = $2 AND version = $3`)
}

// alterRoll runs an update of one roll at a version, for a roll that has one
// of the statuses; $1 to $3 are lab, roll and version.
func alterRoll(ctx context.Context, tx pgx.Tx, s lab.Scope, id string, version int64, from []RollStatus, update string, args ...any) (Roll, error) {
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return Roll{}, err
	}
	roll, err := FindRoll(ctx, tx, s, id)
	switch {
	case err != nil:
		return Roll{}, err
	case roll.Version != version:
		return Roll{}, stale("roll")
	case !slices.Contains(from, roll.Status):
		return Roll{}, lab.Refuse(lab.Conflict, "roll-status", "the roll is %s", roll.Status)
	}
	if _, err := tx.Exec(ctx, update, append([]any{s.Lab.ID, id, version}, args...)...); err != nil {
		return Roll{}, fmt.Errorf("change roll: %w", err)
	}
	if err := lab.Touch(ctx, tx, s.Lab.ID); err != nil {
		return Roll{}, err
	}
	return FindRoll(ctx, tx, s, id)
}
