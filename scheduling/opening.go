package scheduling

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/units"
)

// An Opening is when a tank is open every week, in the lab's wall-clock time.
type Opening struct {
	ID string `json:"id"`
	// Weekday is 1 for Monday to 7 for Sunday (ISO 8601).
	Weekday int `json:"weekday"`
	// Starts is wall-clock time, "18:00".
	Starts    string         `json:"starts"`
	Lasts     units.Duration `json:"lasts"`
	Tank      string         `json:"tank"`
	Operator  string         `json:"operator"`
	Processes []string       `json:"processes"`
	Version   int64          `json:"-"`
}

// Revision is the opening's version, for conditional requests.
func (o Opening) Revision() int64 { return o.Version }

// NewOpening is what it takes to add an Opening.
type NewOpening struct {
	Weekday   int            `json:"weekday"`
	Starts    string         `json:"starts"`
	Lasts     units.Duration `json:"lasts"`
	Tank      string         `json:"tank"`
	Operator  string         `json:"operator"`
	Processes []string       `json:"processes"`
}

const openingColumns = `id, weekday, to_char(starts, 'HH24:MI'), lasts_s, tank_id, operator_id, processes, version`

// AddOpening adds a weekly opening. Sessions come of it by OpenWeek.
func AddOpening(ctx context.Context, tx pgx.Tx, s lab.Scope, in NewOpening) (Opening, error) {
	starts, err := time.Parse("15:04", in.Starts)
	if err != nil {
		return Opening{}, lab.Refuse(lab.Invalid, "invalid", "the opening cannot be kept").
			With("/starts", "not-a-time", "want wall-clock time such as 18:00")
	}
	if err := checkSessionParts(ctx, tx, s, in.Tank, in.Operator, in.Processes); err != nil {
		return Opening{}, err
	}
	no := lab.Refuse(lab.Invalid, "invalid", "the opening cannot be kept")
	if in.Weekday < 1 || in.Weekday > 7 {
		_ = no.With("/weekday", "out-of-range", "want 1 for Monday to 7 for Sunday")
	}
	if in.Lasts < units.Minute || in.Lasts > units.Day {
		_ = no.With("/lasts", "out-of-range", "an opening lasts from a minute to a day")
	}
	if err := no.OrNil(); err != nil {
		return Opening{}, err
	}
	return one[Opening](ctx, tx, "opening", `
		INSERT INTO openings (lab_id, id, weekday, starts, lasts_s, tank_id, operator_id, processes)
		VALUES ($1, new_id('opening', $2), $3, $4::text::time, $5, $6, $7, $8)
		RETURNING `+openingColumns,
		s.Lab.ID, s.Now, in.Weekday, starts.Format("15:04"), in.Lasts, in.Tank, in.Operator, nonNil(in.Processes))
}

// ListOpenings reads the weekly openings.
func ListOpenings(ctx context.Context, tx pgx.Tx, labID string, p lab.Page) (lab.List[Opening], error) {
	items, err := many[Opening](ctx, tx, "openings", `
		SELECT `+openingColumns+` FROM openings WHERE lab_id = $1 AND id > $2 ORDER BY id LIMIT $3`,
		labID, p.After, p.Limit+1)
	if err != nil {
		return lab.List[Opening]{}, err
	}
	return lab.Cut(items, p, func(o Opening) string { return o.ID }), nil
}

// FindOpening reads a weekly opening. It refuses with NotFound.
func FindOpening(ctx context.Context, tx pgx.Tx, labID, id string) (Opening, error) {
	return one[Opening](ctx, tx, "opening",
		`SELECT `+openingColumns+` FROM openings WHERE lab_id = $1 AND id = $2`, labID, id)
}

// RemoveOpening removes a weekly opening; sessions made from it stay.
func RemoveOpening(ctx context.Context, tx pgx.Tx, s lab.Scope, id string, version int64) error {
	if _, err := FindOpening(ctx, tx, s.Lab.ID, id); err != nil {
		return err
	}
	tag, err := tx.Exec(ctx, `DELETE FROM openings WHERE lab_id = $1 AND id = $2 AND version = $3`, s.Lab.ID, id, version)
	if err != nil {
		return fmt.Errorf("remove opening: %w", err)
	}
	if tag.RowsAffected() == 0 {
		return stale("opening")
	}
	return nil
}

func nonNil(s []string) []string {
	if s == nil {
		return []string{}
	}
	return s
}
