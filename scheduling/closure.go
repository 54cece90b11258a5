package scheduling

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// A Closure is a span of days on which no opening holds: of the lab, of one
// tank, or of one opening. It takes in what begins on those days.
type Closure struct {
	ID string `json:"id"`
	// FromDay and UntilDay are its first and last day, by the lab's clock.
	FromDay  string    `json:"from_day"`
	UntilDay string    `json:"until_day"`
	Tank     *string   `json:"tank,omitempty"`
	Opening  *string   `json:"opening,omitempty"`
	Reason   string    `json:"reason"`
	MadeBy   string    `json:"made_by"`
	MadeAt   time.Time `json:"made_at"`
}

// NewClosure is what it takes to close the lab, or a part of it.
type NewClosure struct {
	FromDay string `json:"from_day"`
	// UntilDay is FromDay unless given.
	UntilDay string  `json:"until_day,omitempty"`
	Tank     *string `json:"tank,omitempty"`
	Opening  *string `json:"opening,omitempty"`
	Reason   string  `json:"reason"`
}

// A ChangedClosure is a closure and what became of the sessions.
type ChangedClosure struct {
	Closure
	Change CalendarChange `json:"change"`
}

const closureColumns = `id, to_char(from_day, 'YYYY-MM-DD'), to_char(until_day, 'YYYY-MM-DD'), tank_id, opening_id, reason, made_by, made_at`

// longestClosure is how many days a closure may have.
const longestClosure = 366

// closes says whether it takes in an opening's day.
func (c Closure) closes(o Opening, day time.Time) bool {
	return (c.Tank == nil || *c.Tank == o.Tank) && (c.Opening == nil || *c.Opening == o.ID) &&
		days{dayOf(c.FromDay), dayOf(c.UntilDay).AddDate(0, 0, 1)}.holds(day)
}

// Close closes the lab, a tank or an opening for some days. Sessions of
// openings in them that nobody holds a place in are called off; those that are
// booked stay, and are named, as do sessions added by hand. It refuses with
// Invalid, and with "day-over" once the last day is over.
func Close(ctx context.Context, tx pgx.Tx, s lab.Scope, in NewClosure) (ChangedClosure, error) {
	if in.UntilDay == "" {
		in.UntilDay = in.FromDay
	}
	from, until := dayOf(in.FromDay), dayOf(in.UntilDay)
	no := lab.Refuse(lab.Invalid, "invalid", "the lab cannot be closed like this")
	for pointer, day := range map[string]time.Time{"/from_day": from, "/until_day": until} {
		if day.IsZero() {
			_ = no.With(pointer, "not-a-day", "want a day such as 2026-12-24")
		}
	}
	switch length := until.Sub(from); {
	case len(no.Faults) > 0:
	case length < 0:
		_ = no.With("/until_day", "before-start", "ends before it begins")
	case length > longestClosure*24*time.Hour:
		_ = no.With("/until_day", "too-long", "want %d days at most", longestClosure)
	case until.Sub(s.Now) > furthestSession:
		_ = no.With("/until_day", "out-of-range", "want an end within five years")
	}
	if in.Tank != nil && in.Opening != nil {
		_ = no.With("/opening", "one-of", "want a tank, an opening, or neither for the lab")
	}
	if err := no.OrNil(); err != nil {
		return ChangedClosure{}, err
	}
	if err := dayOver(s, "/until_day", until); err != nil {
		return ChangedClosure{}, err
	}
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return ChangedClosure{}, err
	}
	if in.Tank != nil {
		if _, err := lab.FindTank(ctx, tx, s.Lab.ID, *in.Tank); err != nil {
			return ChangedClosure{}, at("/tank", err)
		}
	}
	if in.Opening != nil {
		if _, err := FindOpening(ctx, tx, s.Lab.ID, *in.Opening); err != nil {
			return ChangedClosure{}, at("/opening", err)
		}
	}
	made, err := one[Closure](ctx, tx, "closure", `
		INSERT INTO closures (lab_id, id, from_day, until_day, tank_id, opening_id, reason, made_by, made_at)
		VALUES ($1, new_id('closure', $2), $3, $4, $5, $6, $7, $8, $2) RETURNING `+closureColumns,
		s.Lab.ID, s.Now, from, until, in.Tank, in.Opening, in.Reason, s.By.ID)
	if err != nil {
		return ChangedClosure{}, err
	}
	change, err := follow(ctx, tx, s, made.scope())
	return ChangedClosure{Closure: made, Change: change}, err
}

// scope is what of the calendar a closure is about.
func (c Closure) scope() scope {
	sc := scope{days: &days{dayOf(c.FromDay), dayOf(c.UntilDay).AddDate(0, 0, 1)}}
	if c.Opening != nil {
		sc.opening = *c.Opening
	}
	return sc
}

// dayOver refuses a day that is over with "day-over".
func dayOver(s lab.Scope, pointer string, day time.Time) error {
	if !day.Before(today(s)) {
		return nil
	}
	return lab.Refuse(lab.Conflict, "day-over", "that day is over").
		With(pointer, "day-over", "in the lab it is %s already", today(s).Format(time.DateOnly))
}

// ListClosures reads the closures, past ones too, in the order they were made.
func ListClosures(ctx context.Context, tx pgx.Tx, labID string, p lab.Page) (lab.List[Closure], error) {
	items, err := many[Closure](ctx, tx, "closures", `
		SELECT `+closureColumns+` FROM closures WHERE lab_id = $1 AND id > $2 ORDER BY id LIMIT $3`, labID, p.After, p.Limit+1)
	if err != nil {
		return lab.List[Closure]{}, err
	}
	return lab.Cut(items, p, func(c Closure) string { return c.ID }), nil
}

// Reopen takes a closure away; the sessions that it called off come back, on
// the days that are open already. It refuses with NotFound and "day-over".
func Reopen(ctx context.Context, tx pgx.Tx, s lab.Scope, id string) (CalendarChange, error) {
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return CalendarChange{}, err
	}
	c, err := one[Closure](ctx, tx, "closure", `SELECT `+closureColumns+` FROM closures WHERE lab_id = $1 AND id = $2`, s.Lab.ID, id)
	if err != nil {
		return CalendarChange{}, err
	}
	if err := dayOver(s, "", dayOf(c.UntilDay)); err != nil {
		return CalendarChange{}, err
	}
	if _, err := tx.Exec(ctx, `DELETE FROM closures WHERE lab_id = $1 AND id = $2`, s.Lab.ID, id); err != nil {
		return CalendarChange{}, fmt.Errorf("reopen: %w", err)
	}
	return follow(ctx, tx, s, c.scope())
}
