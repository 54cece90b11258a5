package recurrence_test

import (
	"strings"
	"testing"
	"time"

	"wetside/scheduling/recurrence"
)

// The examples of RFC 5545, 3.8.5.3, of rules that choose days: rule, first
// day, and the days that the RFC lists, as far as it lists them ("…").
var published = []struct{ rule, first, days string }{
	{"FREQ=DAILY;COUNT=10", "1997-09-02", "1997-09-02 09-03 09-04 09-05 09-06 09-07 09-08 09-09 09-10 09-11"},
	{"FREQ=DAILY;INTERVAL=2", "1997-09-02", "1997-09-02 09-04 09-06 09-08 …"},
	{"FREQ=DAILY;INTERVAL=10;COUNT=5", "1997-09-02", "1997-09-02 09-12 09-22 10-02 10-12"},
	{"FREQ=WEEKLY;COUNT=10", "1997-09-02", "1997-09-02 09-09 09-16 09-23 09-30 10-07 10-14 10-21 10-28 11-04"},
	{"FREQ=WEEKLY;INTERVAL=2;WKST=SU", "1997-09-02", "1997-09-02 09-16 09-30 10-14 10-28 11-11 11-25 12-09 12-23 1998-01-06 01-20 02-03 …"},
	{"FREQ=WEEKLY;COUNT=10;WKST=SU;BYDAY=TU,TH", "1997-09-02", "1997-09-02 09-04 09-09 09-11 09-16 09-18 09-23 09-25 09-30 10-02"},
	{"FREQ=WEEKLY;INTERVAL=2;UNTIL=19971223;WKST=SU;BYDAY=MO,WE,FR", "1997-09-01",
		"1997-09-01 09-03 09-05 09-15 09-17 09-19 09-29 10-01 10-03 10-13 10-15 10-17 10-27 10-29 10-31 11-10 11-12 11-14 11-24 11-26 11-28 12-08 12-10 12-12 12-22"},
	{"FREQ=WEEKLY;INTERVAL=2;COUNT=8;WKST=SU;BYDAY=TU,TH", "1997-09-02", "1997-09-02 09-04 09-16 09-18 09-30 10-02 10-14 10-16"},
	{"FREQ=MONTHLY;COUNT=10;BYDAY=1FR", "1997-09-05", "1997-09-05 10-03 11-07 12-05 1998-01-02 02-06 03-06 04-03 05-01 06-05"},
	{"FREQ=MONTHLY;INTERVAL=2;COUNT=10;BYDAY=1SU,-1SU", "1997-09-07", "1997-09-07 09-28 11-02 11-30 1998-01-04 01-25 03-01 03-29 05-03 05-31"},
	{"FREQ=MONTHLY;COUNT=6;BYDAY=-2MO", "1997-09-22", "1997-09-22 10-20 11-17 12-22 1998-01-19 02-16"},
	{"FREQ=MONTHLY;BYMONTHDAY=-3", "1997-09-28", "1997-09-28 10-29 11-28 12-29 1998-01-29 02-26 …"},
	{"FREQ=MONTHLY;COUNT=10;BYMONTHDAY=2,15", "1997-09-02", "1997-09-02 09-15 10-02 10-15 11-02 11-15 12-02 12-15 1998-01-02 01-15"},
	{"FREQ=MONTHLY;COUNT=10;BYMONTHDAY=1,-1", "1997-09-30", "1997-09-30 10-01 10-31 11-01 11-30 12-01 12-31 1998-01-01 01-31 02-01"},
	{"FREQ=MONTHLY;INTERVAL=18;COUNT=10;BYMONTHDAY=10,11,12,13,14,15", "1997-09-10",
		"1997-09-10 09-11 09-12 09-13 09-14 09-15 1999-03-10 03-11 03-12 03-13"},
	{"FREQ=MONTHLY;INTERVAL=2;BYDAY=TU", "1997-09-02", "1997-09-02 09-09 09-16 09-23 09-30 11-04 11-11 11-18 11-25 1998-01-06 01-13 01-20 01-27 03-03 03-10 03-17 03-24 03-31 …"},
	{"FREQ=YEARLY;COUNT=10;BYMONTH=6,7", "1997-06-10", "1997-06-10 07-10 1998-06-10 07-10 1999-06-10 07-10 2000-06-10 07-10 2001-06-10 07-10"},
	{"FREQ=YEARLY;INTERVAL=2;COUNT=10;BYMONTH=1,2,3", "1997-03-10", "1997-03-10 1999-01-10 02-10 03-10 2001-01-10 02-10 03-10 2003-01-10 02-10 03-10"},
	{"FREQ=YEARLY;INTERVAL=3;COUNT=10;BYYEARDAY=1,100,200", "1997-01-01",
		"1997-01-01 04-10 07-19 2000-01-01 04-09 07-18 2003-01-01 04-10 07-19 2006-01-01"},
	{"FREQ=YEARLY;BYDAY=20MO", "1997-05-19", "1997-05-19 1998-05-18 1999-05-17 …"},
	{"FREQ=YEARLY;BYWEEKNO=20;BYDAY=MO", "1997-05-12", "1997-05-12 1998-05-11 1999-05-17 …"},
	{"FREQ=YEARLY;BYMONTH=3;BYDAY=TH", "1997-03-13", "1997-03-13 03-20 03-27 1998-03-05 03-12 03-19 03-26 1999-03-04 03-11 03-18 03-25 …"},
	{"FREQ=YEARLY;BYDAY=TH;BYMONTH=6,7,8", "1997-06-05",
		"1997-06-05 06-12 06-19 06-26 07-03 07-10 07-17 07-24 07-31 08-07 08-14 08-21 08-28 1998-06-04 …"},
	{"FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13", "1997-09-03", "1998-02-13 03-13 11-13 1999-08-13 2000-10-13 …"},
	{"FREQ=MONTHLY;BYDAY=SA;BYMONTHDAY=7,8,9,10,11,12,13", "1997-09-13",
		"1997-09-13 10-11 11-08 12-13 1998-01-10 02-07 03-07 04-11 05-09 06-13 …"},
	{"FREQ=YEARLY;INTERVAL=4;BYMONTH=11;BYDAY=TU;BYMONTHDAY=2,3,4,5,6,7,8", "1996-11-05", "1996-11-05 2000-11-07 2004-11-02 …"},
	{"FREQ=MONTHLY;COUNT=3;BYDAY=TU,WE,TH;BYSETPOS=3", "1997-09-04", "1997-09-04 10-07 11-06"},
	{"FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-2", "1997-09-29", "1997-09-29 10-30 11-27 12-30 1998-01-29 02-26 03-30 …"},
	{"FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=MO", "1997-08-05", "1997-08-05 08-10 08-19 08-24"},
	{"FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=SU", "1997-08-05", "1997-08-05 08-17 08-19 08-31"},
	{"FREQ=MONTHLY;BYMONTHDAY=15,30;COUNT=5", "2007-01-15", "2007-01-15 01-30 02-15 03-15 03-30"},
}

func TestPublishedExamples(t *testing.T) {
	t.Parallel()
	for _, ex := range published {
		rule, err := recurrence.Parse(ex.rule)
		if err != nil {
			t.Errorf("%s: %v", ex.rule, err)
			continue
		}
		want, year, open := []string{}, "", false
		for _, d := range strings.Fields(ex.days) {
			if open = d == "…"; open {
				break
			}
			if len(d) == len(time.DateOnly) {
				year, d = d[:5], d[5:]
			}
			want = append(want, year+d)
		}
		first := day(ex.first)
		var got []string
		for _, d := range rule.Days(first, first, first.AddDate(20, 0, 0)) {
			got = append(got, d.Format(time.DateOnly))
		}
		if open {
			got = got[:min(len(want), len(got))]
		}
		if strings.Join(got, " ") != strings.Join(want, " ") {
			t.Errorf("%s from %s:\n got %v\nwant %v", ex.rule, ex.first, got, want)
		}
	}
	t.Logf("%d examples of RFC 5545, 3.8.5.3", len(published))
}

func day(s string) time.Time {
	d, err := time.Parse(time.DateOnly, s)
	if err != nil {
		panic(err)
	}
	return d
}

func TestRulesRefused(t *testing.T) {
	t.Parallel()
	for rule, why := range map[string]string{
		"":                                  "no part of a rule",
		"BYDAY=MO":                          "FREQ is missing",
		"FREQ=HOURLY":                       "once a day at most",
		"FREQ=SECONDLY;COUNT=1000000":       "once a day at most",
		"FREQ=DAILY;COUNT=1000000":          "want 1 to 10000",
		"FREQ=DAILY;COUNT=0":                "want 1 to 10000",
		"FREQ=DAILY;INTERVAL=0":             "want 1 to 1000",
		"FREQ=DAILY;INTERVAL=+1":            "want 1 to 1000",
		"FREQ=DAILY;COUNT=3;UNTIL=2027123":  "without zone",
		"FREQ=DAILY;COUNT=3;UNTIL=20271231": "exclude each other",
		"FREQ=DAILY;UNTIL=20271231T220000":  "without zone",
		"FREQ=DAILY;UNTIL=20270231":         "want a day",
		"FREQ=DAILY;BYHOUR=9":               "not the rule's to say",
		"FREQ=DAILY;FREQ=DAILY":             "there twice",
		"FREQ=WEEKLY;BYDAY=1MO":             "with places",
		"FREQ=WEEKLY;BYDAY=MO,MO":           "twice",
		"FREQ=WEEKLY;BYDAY=XX":              "want weekdays",
		"FREQ=WEEKLY;BYMONTHDAY=1":          "does not go with",
		"FREQ=MONTHLY;BYWEEKNO=1":           "YEARLY alone",
		"FREQ=MONTHLY;BYYEARDAY=1":          "YEARLY alone",
		"FREQ=MONTHLY;BYMONTHDAY=0":         "want 1 to 31",
		"FREQ=MONTHLY;BYMONTHDAY=32":        "want 1 to 31",
		"FREQ=MONTHLY;BYSETPOS=1":           "goes with another",
		"FREQ=YEARLY;BYWEEKNO=1;BYDAY=1MO":  "BYWEEKNO",
		"FREQ=WEEKLY;WKST=1":                "want a weekday",
		"freq=weekly":                       "no part of a rule",
		"FREQ=DAILY;X-MINE=1":               "no part of a rule",
		"FREQ=YEARLY;BYMONTH=" + strings.Repeat("1,", 200) + "1": "characters at most",
	} {
		if _, err := recurrence.Parse(rule); err == nil || !strings.Contains(err.Error(), why) {
			t.Errorf("%s: %v, want that it says %q", rule, err, why)
		}
	}
}
