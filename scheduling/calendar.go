package scheduling

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/jobs"
	"wetside/lab/telling"
)

// A Calendar is how a lab's calendar is kept.
type Calendar struct {
	// DaysAhead is how many days, from today on, have their sessions made every
	// day; 0 leaves it to the steward to open weeks.
	DaysAhead int `json:"days_ahead"`
	// SkippedHour says what becomes of a session that would begin in an hour that the clocks skip.
	SkippedHour SkippedHour `json:"skipped_hour"`
	// Opened are the days whose sessions have been made.
	Opened  []OpenedDays `json:"opened"`
	Version int64        `json:"-"`
}

// Revision is the calendar's version, for conditional requests.
func (c Calendar) Revision() int64 { return c.Version }

// A SkippedHour says what becomes of a session in an hour that the clocks skip.
type SkippedHour string

// It begins as much later as the clocks skip, as RFC 5545, 3.3.5, has it, or is left out.
const (
	MoveSkipped SkippedHour = "move"
	DropSkipped SkippedHour = "drop"
)

// OpenedDays are days from the first to the last.
type OpenedDays struct {
	FromDay  string `json:"from_day"`
	UntilDay string `json:"until_day"`
}

// A CalendarSettings change is what may be changed of it; nil leaves a field as it is.
type CalendarSettings struct {
	DaysAhead   *int         `json:"days_ahead,omitempty"`
	SkippedHour *SkippedHour `json:"skipped_hour,omitempty"`
}

// A ChangedCalendar is the calendar and what became of the sessions.
type ChangedCalendar struct {
	Calendar
	Change CalendarChange `json:"change"`
}

// mostAhead is how many days ahead sessions are made at most.
const mostAhead = 366

// ReadCalendar reads how a lab's calendar is kept.
func ReadCalendar(ctx context.Context, tx pgx.Tx, labID string) (Calendar, error) {
	c := Calendar{SkippedHour: MoveSkipped, Opened: []OpenedDays{}, Version: 1}
	err := tx.QueryRow(ctx, `SELECT days_ahead, skipped_hour, version FROM calendars WHERE lab_id = $1`, labID).
		Scan(&c.DaysAhead, &c.SkippedHour, &c.Version)
	if errors.Is(err, pgx.ErrNoRows) {
		return c, nil
	}
	if err != nil {
		return c, fmt.Errorf("read calendar: %w", err)
	}
	opened, err := many[OpenedDays](ctx, tx, "opened days", `
		SELECT to_char(lower(span), 'YYYY-MM-DD'), to_char(upper(span) - 1, 'YYYY-MM-DD')
		FROM calendars, unnest(opened) AS span WHERE lab_id = $1 ORDER BY span`, labID)
	c.Opened = append(c.Opened, opened...)
	return c, err
}

// ChangeCalendar changes how the calendar is kept, of which the caller has seen
// the given version; sessions follow. It refuses with Invalid and Stale.
func ChangeCalendar(ctx context.Context, tx pgx.Tx, s lab.Scope, version int64, in CalendarSettings) (ChangedCalendar, error) {
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return ChangedCalendar{}, err
	}
	c, err := ReadCalendar(ctx, tx, s.Lab.ID)
	if err != nil {
		return ChangedCalendar{}, err
	}
	if c.Version != version {
		return ChangedCalendar{}, stale("calendar")
	}
	set(&c.DaysAhead, in.DaysAhead)
	set(&c.SkippedHour, in.SkippedHour)
	no := lab.Refuse(lab.Invalid, "invalid", "the calendar cannot be kept like this")
	if c.DaysAhead < 0 || c.DaysAhead > mostAhead {
		_ = no.With("/days_ahead", "out-of-range", "want 0 to %d", mostAhead)
	}
	if c.SkippedHour != MoveSkipped && c.SkippedHour != DropSkipped {
		_ = no.With("/skipped_hour", "not-one-of", "want move or drop")
	}
	if err := no.OrNil(); err != nil {
		return ChangedCalendar{}, err
	}
	_, err = tx.Exec(ctx, `
		INSERT INTO calendars (lab_id, days_ahead, skipped_hour, version) VALUES ($1, $2, $3, $4)
		ON CONFLICT (lab_id) DO UPDATE SET days_ahead = $2, skipped_hour = $3, version = $4`,
		s.Lab.ID, c.DaysAhead, c.SkippedHour, c.Version+1)
	if err != nil {
		return ChangedCalendar{}, fmt.Errorf("change calendar: %w", err)
	}
	change, err := openAhead(ctx, tx, s, c.DaysAhead)
	if err != nil {
		return ChangedCalendar{}, err
	}
	c, err = ReadCalendar(ctx, tx, s.Lab.ID)
	return ChangedCalendar{Calendar: c, Change: change}, err
}

// openAhead opens so many days from today on, and brings all days that are
// open in line with the calendar.
func openAhead(ctx context.Context, tx pgx.Tx, s lab.Scope, ahead int) (CalendarChange, error) {
	if ahead > 0 {
		if err := open(ctx, tx, s, days{today(s), today(s).AddDate(0, 0, ahead)}); err != nil {
			return CalendarChange{}, err
		}
	}
	return follow(ctx, tx, s, scope{})
}

// open counts days among those whose sessions are made.
func open(ctx context.Context, tx pgx.Tx, s lab.Scope, span days) error {
	_, err := tx.Exec(ctx, `
		INSERT INTO calendars (lab_id, opened) VALUES ($1, datemultirange(daterange($2, $3)))
		ON CONFLICT (lab_id) DO UPDATE SET opened = calendars.opened + datemultirange(daterange($2, $3))`,
		s.Lab.ID, span.from, span.until)
	if err != nil {
		return fmt.Errorf("open days: %w", err)
	}
	return nil
}

// daysAhead is the job that, every day, opens the days ahead of every lab that
// says how many, tells the stewards what came otherwise on the days that are
// newly open, and offers the places to who waits.
func daysAhead() jobs.Work {
	return jobs.Work{Kind: "open-days-ahead", Daily: true, Do: func(ctx context.Context, tx pgx.Tx, s lab.Scope, _ json.RawMessage) error {
		if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
			return err
		}
		before, err := ReadCalendar(ctx, tx, s.Lab.ID)
		if err != nil {
			return err
		}
		change, err := OpenAhead(ctx, tx, s)
		if err != nil {
			return err
		}
		if err := tellSkipped(ctx, tx, s, before, change); err != nil || len(change.Sessions)+len(change.Changed) == 0 {
			return err
		}
		return OfferPlaces(ctx, tx, s)
	}}
}

// mostTold is how many days one notice names.
const mostTold = 20

// tellSkipped tells the stewards of days that no session came of, or one at
// another time: once, when the day is first open. What was open before was
// answered to whoever opened it. A day that is closed is no news.
func tellSkipped(ctx context.Context, tx pgx.Tx, s lab.Scope, before Calendar, change CalendarChange) error {
	told := slices.DeleteFunc(slices.Concat(change.Skipped, change.Moved), func(n OccurrenceNote) bool {
		return n.Code == "closed" || slices.ContainsFunc(before.Opened, func(d OpenedDays) bool { return d.FromDay <= n.Day && n.Day <= d.UntilDay })
	})
	if len(told) == 0 {
		return nil
	}
	var days []string
	for _, n := range told[:min(len(told), mostTold)] {
		days = append(days, n.Day+" ("+n.Detail+")")
	}
	if more := len(told) - len(days); more > 0 {
		days = append(days, fmt.Sprintf("%d more", more))
	}
	return telling.Tell(ctx, tx, s, telling.Notice{Kind: telling.DaysSkipped, Role: lab.RoleSteward,
		Words: map[string]string{"days": strings.Join(days, "; ")}})
}

// OpenAhead makes the sessions of the days ahead that the lab keeps open. Where
// it keeps none it does nothing; done again it makes nothing new.
func OpenAhead(ctx context.Context, tx pgx.Tx, s lab.Scope) (CalendarChange, error) {
	l, err := lab.Lock(ctx, tx, s.Lab.ID)
	if err != nil {
		return CalendarChange{}, err
	}
	s.Lab = l
	c, err := ReadCalendar(ctx, tx, s.Lab.ID)
	if err != nil || c.DaysAhead == 0 {
		return noChange(), err
	}
	return openAhead(ctx, tx, s, c.DaysAhead)
}

// lastDay is after every day that is open.
var lastDay = time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)
