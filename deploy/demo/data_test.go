package demo

import (
	"slices"
	"strings"
	"testing"
	"time"
)

func TestCalendarCountsFromTheComingMonday(t *testing.T) {
	t.Parallel()
	zone, err := time.LoadLocation("Europe/Dublin")
	if err != nil {
		t.Fatal(err)
	}
	tests := map[string]struct {
		now        time.Time
		date, want string
	}{
		"on a Wednesday":                    {time.Date(2026, 11, 25, 8, 0, 0, 0, zone), "0 Mon 00:00", "2026-11-30T00:00:00Z"},
		"on a Monday, the next":             {time.Date(2026, 11, 30, 0, 0, 0, 0, zone), "0 Mon 00:00", "2026-12-07T00:00:00Z"},
		"late on a Sunday":                  {time.Date(2026, 11, 29, 23, 59, 0, 0, zone), "0 Mon 00:00", "2026-11-30T00:00:00Z"},
		"in the zone, not in the caller's":  {time.Date(2026, 7, 5, 23, 30, 0, 0, time.UTC), "0 Mon 00:00", "2026-07-13T00:00:00+01:00"},
		"in wall-clock time over the year":  {time.Date(2026, 10, 28, 8, 0, 0, 0, zone), "-2 Wed 17:30", "2026-10-21T17:30:00+01:00"},
		"in wall-clock time after a change": {time.Date(2026, 10, 28, 8, 0, 0, 0, zone), "0 sun 09:05", "2026-11-08T09:05:00Z"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			at, err := newCalendar(tt.now, zone).at(tt.date)
			if got := at.Format(time.RFC3339); err != nil || got != tt.want {
				t.Errorf("%s is %s, %v; want %s", tt.date, got, err, tt.want)
			}
		})
	}
	for _, bad := range []string{"", "0 Xyz 10:00", "Mon 10:00", "0 Mon"} {
		if at, err := newCalendar(time.Now(), zone).at(bad); err == nil {
			t.Errorf("%q is %s", bad, at)
		}
	}
}

// The story ends before this week begins, so that it is over whenever it is told.
func TestDataIsOverBeforeThisWeek(t *testing.T) {
	t.Parallel()
	d, err := read()
	if err != nil {
		t.Fatal(err)
	}
	dates := []string{d.week.Open, d.week.Plan, d.week.Again, d.week.Stale, d.week.Commit, d.week.Look.At, d.week.Meanwhile.At,
		d.week.Pin.At, d.week.Ban.At, d.past.Close.At, d.past.Breakdown.At, d.past.Breakdown.Mended,
		d.after.Open, d.after.Calendar.At, d.after.Ask.At, d.after.Confirm, d.after.Wait.Back, d.after.Wait.Accept,
		d.after.Lapse.Look, d.after.Joins.At, d.after.Hear, d.after.Plan}
	rolls := slices.Concat(d.week.Counter, d.week.Rolls, d.after.Wait.List,
		[]rollData{d.after.Wait.Has, d.after.Lapse.Roll, d.after.Alone.Roll})
	for _, turn := range d.past.Turns {
		dates = append(dates, turn.Plan)
		rolls = append(rolls, turn.Rolls...)
	}
	for _, r := range rolls {
		dates = append(dates, r.At)
	}
	for _, b := range d.week.Bookings {
		dates = append(dates, b.At)
	}
	for _, k := range d.kits.Kits {
		dates = append(dates, k.Bought)
	}
	cal := newCalendar(time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC), time.UTC)
	for _, date := range dates {
		if at, err := cal.at(date); err != nil || !at.Before(cal.week(-1)) {
			t.Errorf("%q is %s, %v; want before this week", date, at, err)
		}
	}
}

func TestPaperWrapsAtWords(t *testing.T) {
	t.Parallel()
	var out strings.Builder
	p := &paper{w: &out}
	p.line(4, "  %s", strings.Repeat("première ", 20))
	lines := strings.Split(strings.TrimSpace(out.String()), "\n")
	for i, line := range lines {
		if n := len([]rune(line)); n > columns || strings.HasSuffix(line, " ") || i > 0 && !strings.HasPrefix(line, "    première") {
			t.Errorf("line %d of %d columns: %q", i, n, line)
		}
	}
	if got := strings.Count(out.String(), "première"); got != 20 || len(lines) != 2 {
		t.Errorf("%d words in %d lines", got, len(lines))
	}
	if got := pad("Kovářičková", 8) + "|" + right("9.10", 6); got != "Kovářič…|  9.10" {
		t.Errorf("padded as %q", got)
	}
}

func TestMoneyInWords(t *testing.T) {
	t.Parallel()
	for minor, want := range map[int64]string{0: "0.00 EUR", 5: "0.05 EUR", 8645: "86.45 EUR", -1234: "-12.34 EUR"} {
		if got := money(minor, "EUR"); got != want {
			t.Errorf("%d is %q, want %q", minor, got, want)
		}
	}
}
