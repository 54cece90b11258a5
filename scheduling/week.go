package scheduling

import (
	"context"
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

// OpenWeek makes the week's sessions from the openings, and brings those that
// were made before in line. Days of openings that no session comes of (over,
// closed, skipped by the clocks, the tank taken) are told; so the same week
// twice makes nothing new.
func OpenWeek(ctx context.Context, tx pgx.Tx, s lab.Scope, in NewWeek) (CalendarChange, error) {
	monday, err := Monday(in.Week)
	if err != nil {
		return CalendarChange{}, err
	}
	if monday.AddDate(0, 0, 8).Sub(s.Now) > furthestSession {
		return CalendarChange{}, lab.Refuse(lab.Invalid, "invalid", "the week is too far ahead").
			With("/week", "out-of-range", "want a week within five years")
	}
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return CalendarChange{}, err
	}
	week := days{monday, monday.AddDate(0, 0, 7)}
	if err := open(ctx, tx, s, week); err != nil {
		return CalendarChange{}, err
	}
	return follow(ctx, tx, s, scope{days: &week})
}
