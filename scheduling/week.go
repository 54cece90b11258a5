package scheduling

import (
	"context"
	"fmt"
	"regexp"
	"strconv"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// NewWeek names the week to make sessions for.
type NewWeek struct {
	// Week is an ISO 8601 week, "2026-W49".
	Week string `json:"week"`
}

// An OpenedWeek is the sessions made for a week, and the openings that made none.
type OpenedWeek struct {
	Sessions []Session        `json:"sessions"`
	Skipped  []SkippedOpening `json:"skipped"`
}

// A SkippedOpening is an opening of which no session came, and why.
type SkippedOpening struct {
	Opening string `json:"opening"`
	Detail  string `json:"detail"`
}

var isoWeek = regexp.MustCompile(`^(\d{4})-W(\d{2})$`)

// Monday is the date of the Monday that begins an ISO 8601 week ("2026-W49").
func Monday(week string) (time.Time, error) {
	no := lab.Refuse(lab.Invalid, "invalid", "there is no such week").
		With("/week", "not-a-week", "want an ISO 8601 week such as 2026-W49")
	m := isoWeek.FindStringSubmatch(week)
	if m == nil {
		return time.Time{}, no
	}
	year, _ := strconv.Atoi(m[1])
	number, _ := strconv.Atoi(m[2])
	// 4 January is always in week 1.
	jan4 := time.Date(year, 1, 4, 0, 0, 0, 0, time.UTC)
	monday := jan4.AddDate(0, 0, -int(jan4.Weekday()+6)%7+7*(number-1))
	if y, w := monday.ISOWeek(); y != year || w != number {
		return time.Time{}, no
	}
	return monday, nil
}

// OpenWeek makes the week's sessions from the weekly openings. What is over, what
// the clocks skip, and what its tank is already taken for is skipped, each
// with its reason; so the same week twice makes nothing new.
func OpenWeek(ctx context.Context, tx pgx.Tx, s lab.Scope, in NewWeek) (OpenedWeek, error) {
	answer := OpenedWeek{Sessions: []Session{}, Skipped: []SkippedOpening{}}
	monday, err := Monday(in.Week)
	if err != nil {
		return answer, err
	}
	if monday.AddDate(0, 0, 8).Sub(s.Now) > furthestSession {
		return answer, lab.Refuse(lab.Invalid, "invalid", "the week is too far ahead").
			With("/week", "out-of-range", "want a week within five years")
	}
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return answer, err
	}
	openings, err := many[Opening](ctx, tx, "openings", `
		SELECT `+openingColumns+` FROM openings WHERE lab_id = $1 ORDER BY weekday, starts, id`, s.Lab.ID)
	if err != nil {
		return answer, err
	}
	for _, o := range openings {
		start, ok := wallClock(monday.AddDate(0, 0, o.Weekday-1), o.Starts, s.Lab.Location())
		session := NewSession{Tank: o.Tank, Start: start, End: start.Add(o.Lasts.Std()), Operator: o.Operator, Processes: o.Processes}
		skip := func(detail string) {
			answer.Skipped = append(answer.Skipped, SkippedOpening{Opening: o.ID, Detail: detail})
		}
		if !ok {
			skip("the clocks skip " + o.Starts + " that day")
			continue
		}
		if !session.End.After(s.Now) {
			skip("it is over")
			continue
		}
		taken, err := tankTaken(ctx, tx, s.Lab.ID, session)
		if err != nil {
			return answer, err
		}
		if taken {
			skip("the tank has a session then")
			continue
		}
		// A millisecond apart, so that sessions keep the openings' order by id.
		apart := s
		apart.Now = s.Now.Add(time.Duration(len(answer.Sessions)) * time.Millisecond)
		made, err := insertSession(ctx, tx, apart, session, &o.ID)
		if err != nil {
			return answer, err
		}
		answer.Sessions = append(answer.Sessions, made)
	}
	if len(answer.Sessions) > 0 {
		return answer, lab.Touch(ctx, tx, s.Lab.ID)
	}
	return answer, nil
}

// wallClock is the instant of a wall-clock time on a date in a zone; false if
// the clocks skip it. Of an hour that happens twice it is the first.
func wallClock(date time.Time, clock string, zone *time.Location) (time.Time, bool) {
	c, err := time.Parse("15:04", clock)
	if err != nil {
		return time.Time{}, false
	}
	y, m, d := date.Date()
	t := time.Date(y, m, d, c.Hour(), c.Minute(), 0, 0, zone)
	return t, t.Format("2006-01-02 15:04") == fmt.Sprintf("%04d-%02d-%02d %s", y, m, d, clock)
}
