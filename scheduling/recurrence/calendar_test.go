package recurrence_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // the machine may have none

	"github.com/teambition/rrule-go"

	"wetside/scheduling/recurrence"
)

// zones are those with something to trip over, and some without.
var zones = []string{
	"UTC", "Europe/Lisbon", "Europe/Dublin", "Europe/Berlin", "Europe/Moscow", "Europe/Istanbul", "Atlantic/Azores",
	"America/New_York", "America/Los_Angeles", "America/St_Johns", "America/Sao_Paulo", "America/Santiago",
	"America/Asuncion", "America/Caracas", "America/Havana", "America/Scoresbysund", "Africa/Casablanca",
	"Africa/Cairo", "Africa/Windhoek", "Asia/Tehran", "Asia/Gaza", "Asia/Kathmandu", "Asia/Pyongyang", "Asia/Beirut",
	"Australia/Lord_Howe", "Australia/Adelaide", "Pacific/Apia", "Pacific/Auckland", "Pacific/Chatham",
	"Pacific/Kwajalein", "Pacific/Fakaofo", "Antarctica/Troll", "Antarctica/Casey",
}

// TestCalendar holds the days and the clock against others that know them: a
// library's rules, where it is right, and a walk along the instants of each zone.
func TestCalendar(t *testing.T) {
	t.Parallel()
	t.Run("days", againstTheLibrary)
	t.Run("clock", againstAWalkOfInstants)
	t.Run("both", patternsInZones)
}

// randomRule writes a rule that is valid, of any shape.
func randomRule(rng *rand.Rand) string {
	some := func(n int, of func() string) string {
		var out []string
		for range 1 + rng.IntN(n) {
			if v := of(); !slices.Contains(out, v) {
				out = append(out, v)
			}
		}
		return strings.Join(out, ",")
	}
	signed := func(most int) string {
		n := 1 + rng.IntN(most)
		if rng.IntN(3) == 0 {
			n = -n
		}
		return fmt.Sprint(n)
	}
	week := []string{"MO", "TU", "WE", "TH", "FR", "SA", "SU"}
	freq := []string{"DAILY", "WEEKLY", "WEEKLY", "MONTHLY", "MONTHLY", "YEARLY", "YEARLY"}[rng.IntN(7)]
	rule := "FREQ=" + freq
	if rng.IntN(2) == 0 {
		rule += fmt.Sprintf(";INTERVAL=%d", 1+rng.IntN(4))
	}
	if rng.IntN(3) == 0 {
		rule += ";WKST=" + week[rng.IntN(7)]
	}
	by := false
	part := func(odds int, name, value string) {
		if rng.IntN(odds) == 0 {
			rule, by = rule+";"+name+"="+value, true
		}
	}
	part(4, "BYMONTH", some(4, func() string { return fmt.Sprint(1 + rng.IntN(12)) }))
	if freq != "WEEKLY" {
		part(3, "BYMONTHDAY", some(4, func() string { return signed(31) }))
	}
	// Weeks that reach into the next year are no common ground: RFC 5545 does not say which year's they are.
	byWeek := rule == "FREQ=YEARLY" && rng.IntN(2) == 0
	if freq == "YEARLY" && !byWeek {
		part(5, "BYYEARDAY", some(5, func() string { return signed(366) }))
	}
	places := (freq == "MONTHLY" || freq == "YEARLY") && !byWeek && rng.IntN(2) == 0
	days := some(3, func() string {
		if places {
			return signed(5) + week[rng.IntN(7)]
		}
		return week[rng.IntN(7)]
	})
	if byWeek {
		rule, by = rule+";BYWEEKNO="+some(3, func() string { return signed(50) })+";BYDAY="+days, true
	} else {
		part(2, "BYDAY", days)
	}
	if by && !byWeek && rng.IntN(4) == 0 {
		rule += ";BYSETPOS=" + some(2, func() string { return signed(4) })
	}
	switch rng.IntN(4) {
	case 0:
		rule += fmt.Sprintf(";COUNT=%d", 1+rng.IntN(30))
	case 1:
		rule += ";UNTIL=" + day("2024-01-01").AddDate(0, 0, rng.IntN(2000)).Format("20060102")
	}
	return rule
}

func againstTheLibrary(t *testing.T) {
	t.Parallel()
	const rules = 1200 // the library takes its time over those that choose nothing
	rng := rand.New(rand.NewPCG(5545, 1))
	compared, empty := 0, 0
	for range rules {
		text := randomRule(rng)
		first := day("2023-01-01").AddDate(0, 0, rng.IntN(1500))
		from := first.AddDate(0, 0, rng.IntN(800))
		until := from.AddDate(0, 0, 1+rng.IntN(1200))
		rule, err := recurrence.Parse(text)
		if err != nil {
			t.Fatalf("%s: %v", text, err)
		}
		got := rule.Days(first, from, until)
		option, err := rrule.StrToROption(text)
		if err != nil {
			t.Fatalf("%s: %v", text, err)
		}
		option.Dtstart = first
		if last := until.Add(-time.Second); option.Until.IsZero() || option.Until.After(last) {
			option.Until = last // or it looks for a next one as far as the year 9999
		}
		library, err := rrule.NewRRule(*option)
		if err != nil {
			t.Fatalf("%s: %v", text, err)
		}
		want := library.Between(from, until.Add(-time.Second), true)
		if !slices.EqualFunc(got, want, time.Time.Equal) {
			t.Fatalf("%s from %v in [%v, %v):\n got %v\nwant %v", text, first, from, until, got, want)
		}
		if compared += len(got); len(got) == 0 {
			empty++
		}
	}
	t.Logf("%d random rules as rrule-go has them: %d days the same, %d rules without a day in the span", rules, compared, empty)
	if empty > rules/2 {
		t.Error("most rules choose nothing: the comparison says little")
	}
}

// againstAWalkOfInstants goes through every quarter of an hour of some years in a
// zone and notes when the wall clock first shows each time of day.
func againstAWalkOfInstants(t *testing.T) {
	t.Parallel()
	const step = 15 * time.Minute
	read, skipped, twice := 0, 0, 0
	for _, name := range zones {
		zone := location(t, name)
		for _, year := range []int{1995, 2011, 2018, 2027} {
			start := time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC)
			end := start.AddDate(1, 0, 0)
			shown := map[int64][]time.Time{} // by the wall clock, in seconds as if it were UTC
			for at := start.Add(-48 * time.Hour); at.Before(end.Add(48 * time.Hour)); at = at.Add(step) {
				_, offset := at.In(zone).Zone()
				key := at.Unix() + int64(offset)
				shown[key] = append(shown[key], at)
			}
			for clock := start; clock.Before(end); clock = clock.Add(step) {
				midnight := clock.Truncate(24 * time.Hour)
				got := recurrence.At(midnight, clock.Sub(midnight), zone)
				want := shown[clock.Unix()]
				read++
				switch {
				case len(want) == 0:
					skipped++
					gap := got.To.Sub(got.From)
					if !got.Skipped || clock.Before(got.From) || !clock.Before(got.To) || got.At.In(zone).Format("2006-01-02 15:04") != clock.Add(gap).Format("2006-01-02 15:04") {
						t.Fatalf("%s never shows %v, yet read %+v", name, clock, got)
					}
				case got.Skipped || !got.At.Equal(want[0]) || got.Twice != (len(want) > 1):
					t.Fatalf("%s shows %v at %v, read %+v", name, clock, want, got)
				case got.Twice:
					twice++
				}
			}
		}
	}
	t.Logf("%d wall-clock times in %d zones as a walk along the instants has them: %d skipped and told, %d shown twice and read as the first",
		read, len(zones), skipped, twice)
	if skipped == 0 || twice == 0 {
		t.Error("no zone changed its clocks")
	}
}

// patternsInZones counts where the library's instants of a daily pattern are
// not those of RFC 5545, 3.3.5.
func patternsInZones(t *testing.T) {
	t.Parallel()
	instants, skipped, twice, gapOff, twiceOff, midnightOff := 0, 0, 0, 0, 0, 0
	rule, err := recurrence.Parse("FREQ=DAILY")
	if err != nil {
		t.Fatal(err)
	}
	first, until := day("2000-01-01"), day("2038-01-01")
	for _, name := range zones {
		zone := location(t, name)
		for _, minutes := range []int{0, 30, 90, 120, 135, 150, 18 * 60} {
			library, err := rrule.NewRRule(rrule.ROption{Freq: rrule.DAILY,
				Dtstart: time.Date(2000, 1, 1, 0, minutes, 0, 0, zone), Until: time.Date(2037, 12, 31, 0, minutes, 0, 0, zone)})
			if err != nil {
				t.Fatal(err)
			}
			theirs := map[int64]bool{}
			for _, at := range library.All() {
				theirs[at.Unix()] = true
			}
			for _, d := range rule.Days(first, first, until) {
				got := recurrence.At(d, time.Duration(minutes)*time.Minute, zone)
				instants++
				same := theirs[got.At.Unix()]
				switch {
				case got.Skipped:
					if skipped++; !same {
						gapOff++
					}
				case got.Twice:
					if twice++; !same {
						twiceOff++
					}
				case same:
				case recurrence.At(d, 0, zone).Skipped:
					// The library counts days from midnight in the zone, which this day has not.
					midnightOff++
				default:
					t.Fatalf("%s: rrule-go does not have %v", name, got.At)
				}
			}
		}
	}
	t.Logf("%d instants of daily patterns, 2000 to 2037, in %d zones as rrule-go has them; it has not, against RFC 5545, 3.3.5, %d of %d skipped times, %d of %d shown twice, and %d of days that begin after midnight",
		instants-gapOff-twiceOff-midnightOff, len(zones), gapOff, skipped, twiceOff, twice, midnightOff)
}

// What the zones did on days that people remember.
func TestKnownDays(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		zone, day, clock string
		want             string
		skipped, twice   bool
	}{
		{"Europe/Lisbon", "2027-03-28", "00:59", "2027-03-28T00:59:00Z", false, false},
		{"Europe/Lisbon", "2027-03-28", "01:30", "2027-03-28T02:30:00+01:00", true, false},
		{"Europe/Lisbon", "2027-10-31", "01:30", "2027-10-31T01:30:00+01:00", false, true},
		// RFC 5545, 3.3.5, gives these two of New York itself.
		{"America/New_York", "2007-11-04", "01:30", "2007-11-04T01:30:00-04:00", false, true},
		{"America/New_York", "2007-03-11", "02:30", "2007-03-11T03:30:00-04:00", true, false},
		{"Australia/Lord_Howe", "2027-10-03", "02:15", "2027-10-03T02:45:00+11:00", true, false},
		{"Australia/Lord_Howe", "2027-04-04", "01:45", "2027-04-04T01:45:00+11:00", false, true},
		// Samoa left 30 December 2011 out.
		{"Pacific/Apia", "2011-12-29", "18:00", "2011-12-29T18:00:00-10:00", false, false},
		{"Pacific/Apia", "2011-12-30", "18:00", "2011-12-31T18:00:00+14:00", true, false},
		{"Pacific/Apia", "2011-12-31", "18:00", "2011-12-31T18:00:00+14:00", false, false},
		// Brazil began summer at midnight: some days had none.
		{"America/Sao_Paulo", "2018-11-04", "00:00", "2018-11-04T01:00:00-02:00", true, false},
		{"UTC", "2027-03-28", "01:30", "2027-03-28T01:30:00Z", false, false},
	} {
		clock, err := time.Parse("15:04", tt.clock)
		if err != nil {
			t.Fatal(err)
		}
		got := recurrence.At(day(tt.day), time.Duration(clock.Hour())*time.Hour+time.Duration(clock.Minute())*time.Minute, location(t, tt.zone))
		if got.At.Format(time.RFC3339) != tt.want || got.Skipped != tt.skipped || got.Twice != tt.twice {
			t.Errorf("%s %s %s: %+v, want %s", tt.zone, tt.day, tt.clock, got, tt.want)
		}
	}
}

func location(t *testing.T, name string) *time.Location {
	t.Helper()
	zone, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return zone
}

func FuzzParse(f *testing.F) {
	for _, ex := range published {
		f.Add(ex.rule)
	}
	f.Fuzz(func(t *testing.T, text string) {
		rule, err := recurrence.Parse(text)
		if err != nil {
			return
		}
		first := day("2024-02-29")
		last := first
		for i, d := range rule.Days(first, first, first.AddDate(5, 0, 0)) {
			if i > 0 && !d.After(last) || d.Before(first) {
				t.Fatalf("%s: %v after %v", text, d, last)
			}
			last = d
		}
	})
}
