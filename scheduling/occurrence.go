package scheduling

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/scheduling/recurrence"
)

// days is a span of the lab's days, [from, until), each at midnight in UTC.
type days struct{ from, until time.Time }

// holds says whether a day is in the span.
func (d days) holds(day time.Time) bool { return !day.Before(d.from) && day.Before(d.until) }

// An occurrence is one day of an opening.
type occurrence struct {
	opening Opening
	day     time.Time
	session NewSession
	// read is what the wall clock's time is that day.
	read recurrence.Reading
	// not says why no session comes of it; of one that comes, note what is to be told.
	not, note *OccurrenceNote
}

// An OccurrenceNote is what is to be told of one day of an opening.
type OccurrenceNote struct {
	Opening string `json:"opening"`
	Day     string `json:"day"`
	// Code is stable: clocks-skip, clocks-moved, closed, over, called-off,
	// operator-left or tank-taken.
	Code   string `json:"code"`
	Detail string `json:"detail"`
}

// A calendar is all that says when a lab is open.
type calendar struct {
	s        lab.Scope
	moves    bool // what the clocks skip is moved, not dropped
	openings []Opening
	closures []Closure
	extras   []ExtraDay
}

func readOpenCalendar(ctx context.Context, tx pgx.Tx, s lab.Scope) (*calendar, error) {
	kept, err := ReadCalendar(ctx, tx, s.Lab.ID)
	if err != nil {
		return nil, err
	}
	c := &calendar{s: s, moves: kept.SkippedHour == MoveSkipped}
	if c.openings, err = many[Opening](ctx, tx, "openings",
		`SELECT `+openingColumns+` FROM openings WHERE lab_id = $1 ORDER BY id`, s.Lab.ID); err != nil {
		return nil, err
	}
	// Yesterday's may still be wanted: its session may begin after midnight.
	since := today(s).AddDate(0, 0, -8)
	if c.closures, err = many[Closure](ctx, tx, "closures", `
		SELECT `+closureColumns+` FROM closures WHERE lab_id = $1 AND until_day >= $2 ORDER BY id`, s.Lab.ID, since); err != nil {
		return nil, err
	}
	c.extras, err = many[ExtraDay](ctx, tx, "extra days", `
		SELECT `+extraColumns+` FROM extra_days WHERE lab_id = $1 AND day >= $2 ORDER BY day, id`, s.Lab.ID, since)
	return c, err
}

// occurrences are the days of an opening in a span, in order. It fails on a
// rule that was stored and is none.
func (c *calendar) occurrences(o Opening, span days) ([]occurrence, error) {
	p, err := o.pattern()
	if err != nil {
		return nil, fmt.Errorf("opening %s: %w", o.ID, err)
	}
	var out []occurrence
	for _, day := range p.rule.Days(p.first, span.from, span.until) {
		at := c.occurrence(o, day, p.starts)
		if end := p.rule.UntilInstant; !end.IsZero() && at.read.At.After(end) {
			break
		}
		out = append(out, at)
	}
	for _, x := range c.extras {
		day := dayOf(x.Day)
		if x.Opening != o.ID || !span.holds(day) {
			continue
		}
		starts, other := p.starts, o
		if x.Starts != nil {
			starts = clockOf(*x.Starts)
		}
		set(&other.Lasts, x.Lasts)
		// In place of the rule's own of that day, if it has one.
		out = slices.DeleteFunc(out, func(at occurrence) bool { return at.day.Equal(day) })
		out = append(out, c.occurrence(other, day, starts))
	}
	slices.SortFunc(out, func(a, b occurrence) int { return a.day.Compare(b.day) })
	return out, nil
}

// occurrence is an opening on a day, with what stands against it.
func (c *calendar) occurrence(o Opening, day time.Time, starts time.Duration) occurrence {
	at := occurrence{opening: o, day: day, read: recurrence.At(day, starts, c.s.Lab.Location())}
	at.session = NewSession{Tank: o.Tank, Operator: o.Operator, Kind: o.Kind, Processes: o.Processes,
		Start: at.read.At.UTC(), End: at.read.At.Add(o.Lasts.Std()).UTC()}
	if i := slices.IndexFunc(c.closures, func(cl Closure) bool { return cl.closes(o, day) }); i >= 0 {
		at.not = at.tell("closed", "closed: %s", c.closures[i].Reason)
		return at
	}
	if !at.read.Skipped {
		return at
	}
	clock := day.Add(starts).Format("15:04")
	if c.moves {
		at.note = at.tell("clocks-moved", "the clocks skip %s that day; it begins at %s", clock, at.read.At.Format("15:04 on 2 January"))
	} else {
		at.not = at.tell("clocks-skip", "the clocks skip %s that day", clock)
	}
	return at
}

func (at occurrence) tell(code, format string, args ...any) *OccurrenceNote {
	return &OccurrenceNote{Opening: at.opening.ID, Day: at.day.Format(time.DateOnly), Code: code, Detail: fmt.Sprintf(format, args...)}
}

// checkOverlap refuses an opening of whose first year a day clashes with
// another opening of its tank, as closures and extra days are now.
func checkOverlap(ctx context.Context, tx pgx.Tx, s lab.Scope, o Opening) error {
	c, err := readOpenCalendar(ctx, tx, s)
	if err != nil {
		return err
	}
	from := later(today(s), dayOf(o.FirstDay))
	span := days{from: from, until: from.AddDate(1, 0, 0)}
	mine, err := c.occurrences(o, span)
	if err != nil {
		return err
	}
	span.from, span.until = span.from.AddDate(0, 0, -2), span.until.AddDate(0, 0, 2)
	for _, other := range c.openings {
		if other.ID == o.ID || other.Tank != o.Tank {
			continue
		}
		theirs, err := c.occurrences(other, span)
		if err != nil {
			return err
		}
		if a, b, ok := clash(mine, theirs); ok {
			zone := s.Lab.Location()
			return lab.Refuse(lab.Conflict, "openings-overlap", "the tank is open by another opening at that time").
				With("/rule", "openings-overlap", "on %s it would be open from %s, and is by %s from %s to %s",
					a.day.Format(time.DateOnly), a.session.Start.In(zone).Format("15:04"), other.ID,
					b.session.Start.In(zone).Format("15:04"), b.session.End.In(zone).Format("15:04"))
		}
	}
	return nil
}

// clash finds an occurrence of each that overlap.
func clash(mine, theirs []occurrence) (a, b occurrence, ok bool) {
	all := slices.Concat(mine, theirs)
	all = slices.DeleteFunc(all, func(at occurrence) bool { return at.not != nil })
	slices.SortFunc(all, func(a, b occurrence) int {
		return cmp.Or(a.session.Start.Compare(b.session.Start), cmp.Compare(a.opening.ID, b.opening.ID), a.day.Compare(b.day))
	})
	for i := 1; i < len(all); i++ {
		a, b := all[i-1], all[i]
		if a.opening.ID == b.opening.ID || !b.session.Start.Before(a.session.End) {
			continue
		}
		if b.opening.ID == mine[0].opening.ID {
			a, b = b, a
		}
		return a, b, true
	}
	return a, b, false
}
