package scheduling

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/units"
)

// An ExtraDay is a day on which an opening holds beside its rule, or, if its
// rule has that day too, otherwise than by it. A closure closes it as any other.
type ExtraDay struct {
	ID      string `json:"id"`
	Opening string `json:"opening"`
	Day     string `json:"day"`
	// Starts and Lasts are the opening's unless given.
	Starts *string         `json:"starts,omitempty"`
	Lasts  *units.Duration `json:"lasts,omitempty"`
	Reason string          `json:"reason"`
	MadeBy string          `json:"made_by"`
	MadeAt time.Time       `json:"made_at"`
}

// NewExtraDay is what it takes to add one.
type NewExtraDay struct {
	Opening string          `json:"opening"`
	Day     string          `json:"day"`
	Starts  *string         `json:"starts,omitempty"`
	Lasts   *units.Duration `json:"lasts,omitempty"`
	Reason  string          `json:"reason,omitempty"`
}

// A ChangedExtraDay is an extra day and what became of the sessions.
type ChangedExtraDay struct {
	ExtraDay
	Change CalendarChange `json:"change"`
}

const extraColumns = `id, opening_id, to_char(day, 'YYYY-MM-DD'), to_char(starts, 'HH24:MI'), lasts_s, reason, made_by, made_at`

// AddExtraDay adds a day to an opening; its session is made at once if that day
// is open already. It refuses with Invalid, "day-over", and "extra-day-exists".
func AddExtraDay(ctx context.Context, tx pgx.Tx, s lab.Scope, in NewExtraDay) (ChangedExtraDay, error) {
	day := dayOf(in.Day)
	no := lab.Refuse(lab.Invalid, "invalid", "the day cannot be added")
	if day.IsZero() {
		_ = no.With("/day", "not-a-day", "want a day such as 2026-12-12")
	} else if day.Sub(s.Now) > furthestSession {
		_ = no.With("/day", "out-of-range", "want a day within five years")
	}
	if in.Starts != nil && clockOf(*in.Starts) < 0 {
		_ = no.With("/starts", "not-a-time", "want wall-clock time such as 18:00")
	}
	if in.Lasts != nil && (*in.Lasts < units.Minute || *in.Lasts > units.Day) {
		_ = no.With("/lasts", "out-of-range", "an opening lasts from a minute to a day")
	}
	if err := no.OrNil(); err != nil {
		return ChangedExtraDay{}, err
	}
	if err := dayOver(s, "/day", day); err != nil {
		return ChangedExtraDay{}, err
	}
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return ChangedExtraDay{}, err
	}
	if _, err := FindOpening(ctx, tx, s.Lab.ID, in.Opening); err != nil {
		return ChangedExtraDay{}, at("/opening", err)
	}
	made, err := one[ExtraDay](ctx, tx, "extra day", `
		INSERT INTO extra_days (lab_id, id, opening_id, day, starts, lasts_s, reason, made_by, made_at)
		VALUES ($1, new_id('extra', $2), $3, $4, $5::text::time, $6, $7, $8, $2) RETURNING `+extraColumns,
		s.Lab.ID, s.Now, in.Opening, day, in.Starts, in.Lasts, in.Reason, s.By.ID)
	if lab.Violates(err, lab.UniqueViolation, "extra_days_once") {
		return ChangedExtraDay{}, lab.Refuse(lab.Conflict, "extra-day-exists", "the opening has that extra day already")
	}
	if err != nil {
		return ChangedExtraDay{}, err
	}
	change, err := follow(ctx, tx, s, made.scope())
	return ChangedExtraDay{ExtraDay: made, Change: change}, err
}

func (x ExtraDay) scope() scope {
	day := dayOf(x.Day)
	return scope{opening: x.Opening, days: &days{day, day.AddDate(0, 0, 1)}}
}

// ListExtraDays reads the extra days, past ones too, in the order they were made.
func ListExtraDays(ctx context.Context, tx pgx.Tx, labID string, p lab.Page) (lab.List[ExtraDay], error) {
	items, err := many[ExtraDay](ctx, tx, "extra days", `
		SELECT `+extraColumns+` FROM extra_days WHERE lab_id = $1 AND id > $2 ORDER BY id LIMIT $3`, labID, p.After, p.Limit+1)
	if err != nil {
		return lab.List[ExtraDay]{}, err
	}
	return lab.Cut(items, p, func(x ExtraDay) string { return x.ID }), nil
}

// CancelExtraDay takes an extra day away; its session is called off unless
// somebody holds a place in it. It refuses with NotFound and "day-over".
func CancelExtraDay(ctx context.Context, tx pgx.Tx, s lab.Scope, id string) (CalendarChange, error) {
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return CalendarChange{}, err
	}
	x, err := one[ExtraDay](ctx, tx, "extra day", `SELECT `+extraColumns+` FROM extra_days WHERE lab_id = $1 AND id = $2`, s.Lab.ID, id)
	if err != nil {
		return CalendarChange{}, err
	}
	if err := dayOver(s, "", dayOf(x.Day)); err != nil {
		return CalendarChange{}, err
	}
	if _, err := tx.Exec(ctx, `DELETE FROM extra_days WHERE lab_id = $1 AND id = $2`, s.Lab.ID, id); err != nil {
		return CalendarChange{}, fmt.Errorf("cancel extra day: %w", err)
	}
	return follow(ctx, tx, s, x.scope())
}
