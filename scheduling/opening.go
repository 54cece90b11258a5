package scheduling

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/units"
	"wetside/scheduling/recurrence"
)

// An Opening is when a tank is open, by a rule, in the lab's wall-clock time.
type Opening struct {
	ID string `json:"id"`
	// Rule chooses the days, as RFC 5545 writes it: "FREQ=WEEKLY;BYDAY=TU,TH".
	Rule string `json:"rule"`
	// FirstDay is the day from which the rule counts; nothing is open before.
	FirstDay string `json:"first_day"`
	// Starts is wall-clock time, "18:00". Lasts is time that passes, whatever the clocks do.
	Starts string         `json:"starts"`
	Lasts  units.Duration `json:"lasts"`
	Tank   string         `json:"tank"`
	// Operator runs its sessions; nobody those that members run themselves.
	Operator  string      `json:"operator,omitempty"`
	Kind      SessionKind `json:"kind"`
	Processes []string    `json:"processes"`
	Version   int64       `json:"-"`
}

// Revision is the opening's version, for conditional requests.
func (o Opening) Revision() int64 { return o.Version }

// NewOpening is what it takes to add an Opening.
type NewOpening struct {
	Rule string `json:"rule"`
	// FirstDay is today unless given.
	FirstDay  string         `json:"first_day,omitempty"`
	Starts    string         `json:"starts"`
	Lasts     units.Duration `json:"lasts"`
	Tank      string         `json:"tank"`
	Operator  string         `json:"operator,omitempty"`
	Kind      SessionKind    `json:"kind,omitempty"`
	Processes []string       `json:"processes,omitempty"`
}

// An OpeningChange is what may be changed of an opening; nil leaves a field as it is.
type OpeningChange struct {
	Rule      *string         `json:"rule,omitempty"`
	FirstDay  *string         `json:"first_day,omitempty"`
	Starts    *string         `json:"starts,omitempty"`
	Lasts     *units.Duration `json:"lasts,omitempty"`
	Tank      *string         `json:"tank,omitempty"`
	Operator  *string         `json:"operator,omitempty"`
	Processes *[]string       `json:"processes,omitempty"`
}

// A ChangedOpening is an opening and what became of its sessions.
type ChangedOpening struct {
	Opening
	Change CalendarChange `json:"change"`
}

const openingColumns = `id, rule, to_char(first_day, 'YYYY-MM-DD'), to_char(starts, 'HH24:MI'), lasts_s, tank_id,
	coalesce(operator_id, ''), kind, processes, version`

// furthestFirst is how long before now an opening may count from.
const furthestFirst = 10 * 365 * 24 * time.Hour

// AddOpening adds an opening, and its sessions on the days that are open
// already. It refuses with
//
//   - invalid: a rule that is none or chooses no day within five years, times
//     that are none, a tank, operator or process that the lab does not have,
//     a guest as operator
//   - openings-overlap: within a year its tank is open by another then
func AddOpening(ctx context.Context, tx pgx.Tx, s lab.Scope, in NewOpening) (ChangedOpening, error) {
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return ChangedOpening{}, err
	}
	o := Opening{Rule: in.Rule, FirstDay: in.FirstDay, Starts: in.Starts, Lasts: in.Lasts, Tank: in.Tank,
		Operator: in.Operator, Kind: in.Kind, Processes: nonNil(in.Processes)}
	if o.FirstDay == "" {
		o.FirstDay = today(s).Format(time.DateOnly)
	}
	if o.Kind == "" {
		o.Kind = Attended
	}
	if err := checkOpening(ctx, tx, s, o); err != nil {
		return ChangedOpening{}, err
	}
	made, err := one[Opening](ctx, tx, "opening", `
		INSERT INTO openings (lab_id, id, rule, first_day, starts, lasts_s, tank_id, operator_id, kind, processes)
		VALUES ($1, new_id('opening', $2), $3, $4::text::date, $5::text::time, $6, $7, nullif($8, ''), $9, $10)
		RETURNING `+openingColumns,
		s.Lab.ID, s.Now, o.Rule, o.FirstDay, o.Starts, o.Lasts, o.Tank, o.Operator, string(o.Kind), o.Processes)
	if err != nil {
		return ChangedOpening{}, err
	}
	change, err := follow(ctx, tx, s, scope{opening: made.ID})
	return ChangedOpening{Opening: made, Change: change}, err
}

// ChangeOpening changes an opening, of which the caller has seen the given
// version. Sessions to come that nobody holds a place in follow it; those that
// are booked stay as they are, and are named. It refuses as AddOpening does.
func ChangeOpening(ctx context.Context, tx pgx.Tx, s lab.Scope, id string, version int64, in OpeningChange) (ChangedOpening, error) {
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return ChangedOpening{}, err
	}
	o, err := FindOpening(ctx, tx, s.Lab.ID, id)
	if err != nil {
		return ChangedOpening{}, err
	}
	if o.Version != version {
		return ChangedOpening{}, stale("opening")
	}
	set(&o.Rule, in.Rule)
	set(&o.FirstDay, in.FirstDay)
	set(&o.Starts, in.Starts)
	set(&o.Lasts, in.Lasts)
	set(&o.Tank, in.Tank)
	set(&o.Operator, in.Operator)
	set(&o.Processes, in.Processes)
	if err := checkOpening(ctx, tx, s, o); err != nil {
		return ChangedOpening{}, err
	}
	changed, err := one[Opening](ctx, tx, "opening", `
		UPDATE openings SET rule = $3, first_day = $4::text::date, starts = $5::text::time, lasts_s = $6, tank_id = $7,
			operator_id = nullif($8, ''), processes = $9, version = version + 1
		WHERE lab_id = $1 AND id = $2 RETURNING `+openingColumns,
		s.Lab.ID, id, o.Rule, o.FirstDay, o.Starts, o.Lasts, o.Tank, o.Operator, o.Processes)
	if err != nil {
		return ChangedOpening{}, err
	}
	change, err := follow(ctx, tx, s, scope{opening: id})
	return ChangedOpening{Opening: changed, Change: change}, err
}

func set[T any](field *T, to *T) {
	if to != nil {
		*field = *to
	}
}

// ListOpenings reads the openings.
func ListOpenings(ctx context.Context, tx pgx.Tx, labID string, p lab.Page) (lab.List[Opening], error) {
	items, err := many[Opening](ctx, tx, "openings", `
		SELECT `+openingColumns+` FROM openings WHERE lab_id = $1 AND id > $2 ORDER BY id LIMIT $3`,
		labID, p.After, p.Limit+1)
	if err != nil {
		return lab.List[Opening]{}, err
	}
	return lab.Cut(items, p, func(o Opening) string { return o.ID }), nil
}

// FindOpening reads an opening. It refuses with NotFound.
func FindOpening(ctx context.Context, tx pgx.Tx, labID, id string) (Opening, error) {
	return one[Opening](ctx, tx, "opening",
		`SELECT `+openingColumns+` FROM openings WHERE lab_id = $1 AND id = $2`, labID, id)
}

// EndOpening ends an opening: its sessions to come that nobody holds a place
// in are called off, and the booked ones stay, and are named.
func EndOpening(ctx context.Context, tx pgx.Tx, s lab.Scope, id string, version int64) (CalendarChange, error) {
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return CalendarChange{}, err
	}
	o, err := FindOpening(ctx, tx, s.Lab.ID, id)
	if err != nil {
		return CalendarChange{}, err
	}
	if o.Version != version {
		return CalendarChange{}, stale("opening")
	}
	if _, err := tx.Exec(ctx, `DELETE FROM openings WHERE lab_id = $1 AND id = $2`, s.Lab.ID, id); err != nil {
		return CalendarChange{}, fmt.Errorf("end opening: %w", err)
	}
	return follow(ctx, tx, s, scope{opening: id})
}

// checkOpening refuses what no opening of the lab can be.
func checkOpening(ctx context.Context, tx pgx.Tx, s lab.Scope, o Opening) error {
	no := lab.Refuse(lab.Invalid, "invalid", "the opening cannot be kept")
	p, err := o.pattern()
	if err != nil {
		_ = no.With("/rule", "not-a-rule", "%s", err)
	}
	if p.first.IsZero() {
		_ = no.With("/first_day", "not-a-day", "want a day such as 2026-12-01")
	} else if first := p.first.Sub(today(s)); first < -furthestFirst || first > furthestSession {
		_ = no.With("/first_day", "out-of-range", "want a day of the last ten years or the next five")
	} else if err == nil && len(p.rule.Days(p.first, later(p.first, today(s)), today(s).Add(furthestSession))) == 0 {
		_ = no.With("/rule", "never", "from today on it chooses no day within five years")
	}
	if p.starts < 0 {
		_ = no.With("/starts", "not-a-time", "want wall-clock time such as 18:00")
	}
	if o.Lasts < units.Minute || o.Lasts > units.Day {
		_ = no.With("/lasts", "out-of-range", "an opening lasts from a minute to a day")
	}
	if err := no.OrNil(); err != nil {
		return err
	}
	if err := (NewSession{Operator: o.Operator, Kind: o.Kind}).checkKind(); err != nil {
		return err
	}
	if err := checkSessionParts(ctx, tx, s, o.Tank, o.Operator, o.Processes); err != nil {
		return err
	}
	return checkOverlap(ctx, tx, s, o)
}

// A pattern is an opening's rule and clock, parsed.
type pattern struct {
	rule   recurrence.Rule
	first  time.Time     // midnight in UTC; zero if it is no day
	starts time.Duration // after midnight; negative if it is no time
}

// pattern parses the opening's rule and clock. It fails on a rule that is none.
func (o Opening) pattern() (pattern, error) {
	p := pattern{starts: clockOf(o.Starts), first: dayOf(o.FirstDay)}
	var err error
	p.rule, err = recurrence.Parse(o.Rule)
	return p, err
}

// dayOf reads a day, "2026-12-01": midnight in UTC, or zero if it is none.
func dayOf(text string) time.Time {
	day, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return time.Time{}
	}
	return day
}

// clockOf reads wall-clock time, "18:00", as time after midnight; negative if it is none.
func clockOf(text string) time.Duration {
	t, err := time.Parse("15:04", text)
	if err != nil || len(text) != len("15:04") {
		return -1
	}
	return time.Duration(t.Hour())*time.Hour + time.Duration(t.Minute())*time.Minute
}

// today is the day that it is in the lab, at midnight in UTC.
func today(s lab.Scope) time.Time {
	y, m, d := s.Now.In(s.Lab.Location()).Date()
	return time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
}

func nonNil(s []string) []string {
	if s == nil {
		return []string{}
	}
	return s
}
