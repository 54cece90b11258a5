package recurrence

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
)

// A Frequency is the period that a rule repeats by.
type Frequency string

// The frequencies of patterns that happen once a day at most.
const (
	Daily   Frequency = "DAILY"
	Weekly  Frequency = "WEEKLY"
	Monthly Frequency = "MONTHLY"
	Yearly  Frequency = "YEARLY"
)

// A Weekday is a day of the week; N picks the n-th of the month or year, from
// its end if negative, and 0 all of them.
type Weekday struct {
	N   int
	Day time.Weekday
}

// A Rule is a recurrence rule (RFC 5545, 3.3.10) that chooses days.
type Rule struct {
	Freq     Frequency
	Interval int // 1 or more
	// Count ends the rule after so many days, unless 0.
	Count int
	// UntilDay, if not zero, is the last day that may be chosen; UntilInstant,
	// if not zero, the last instant at which an occurrence may begin.
	UntilDay     time.Time
	UntilInstant time.Time
	WeekStart    time.Weekday
	ByMonth      []int
	ByWeekNo     []int
	ByYearDay    []int
	ByMonthDay   []int
	ByDay        []Weekday
	BySetPos     []int
}

// The bounds of what Parse takes, so that no rule takes long to follow.
const (
	mostText     = 300
	mostInterval = 1000
	mostCount    = 10_000
)

var weekdays = []string{"SU", "MO", "TU", "WE", "TH", "FR", "SA"}

// Parse reads a rule as RFC 5545 writes it: "FREQ=WEEKLY;BYDAY=TU,TH". Its
// errors say what is wrong with it, for people.
func Parse(text string) (Rule, error) {
	r := Rule{Interval: 1, WeekStart: time.Monday}
	if len(text) > mostText {
		return r, fmt.Errorf("a rule may have %d characters at most", mostText)
	}
	seen := map[string]bool{}
	for _, part := range strings.Split(text, ";") {
		name, value, ok := strings.Cut(part, "=")
		if !ok || value == "" {
			return r, fmt.Errorf("%q is no part of a rule: want one such as FREQ=WEEKLY", part)
		}
		if seen[name] {
			return r, fmt.Errorf("%s is there twice", name)
		}
		seen[name] = true
		if err := r.set(name, value); err != nil {
			return r, err
		}
	}
	return r, r.check(seen)
}

// set reads one part.
func (r *Rule) set(name, value string) (err error) {
	switch name {
	case "FREQ":
		r.Freq = Frequency(value)
		switch r.Freq {
		case Daily, Weekly, Monthly, Yearly:
		case "HOURLY", "MINUTELY", "SECONDLY":
			return errors.New("a pattern happens once a day at most: FREQ is DAILY, WEEKLY, MONTHLY or YEARLY")
		default:
			return fmt.Errorf("FREQ=%s: want DAILY, WEEKLY, MONTHLY or YEARLY", value)
		}
	case "INTERVAL":
		r.Interval, err = number(name, value, 1, mostInterval)
	case "COUNT":
		r.Count, err = number(name, value, 1, mostCount)
	case "UNTIL":
		return r.setUntil(value)
	case "WKST":
		day := slices.Index(weekdays, value)
		if day < 0 {
			return fmt.Errorf("WKST=%s: want a weekday such as MO", value)
		}
		r.WeekStart = time.Weekday(day)
	case "BYMONTH":
		r.ByMonth, err = numbers(name, value, 12, false)
	case "BYWEEKNO":
		r.ByWeekNo, err = numbers(name, value, 53, true)
	case "BYYEARDAY":
		r.ByYearDay, err = numbers(name, value, 366, true)
	case "BYMONTHDAY":
		r.ByMonthDay, err = numbers(name, value, 31, true)
	case "BYSETPOS":
		r.BySetPos, err = numbers(name, value, 366, true)
	case "BYDAY":
		return r.setByDay(value)
	case "BYHOUR", "BYMINUTE", "BYSECOND":
		return fmt.Errorf("%s: the time of day is not the rule's to say", name)
	default:
		return fmt.Errorf("%q is no part of a rule", name)
	}
	return err
}

func (r *Rule) setUntil(value string) error {
	if day, err := time.Parse("20060102", value); err == nil {
		r.UntilDay = day
		return nil
	}
	t, err := time.Parse("20060102T150405Z", value)
	if err != nil {
		return fmt.Errorf("UNTIL=%s: want a day, 20271231, or an instant in UTC, 20271231T220000Z; a time without zone says neither", value)
	}
	r.UntilInstant = t
	return nil
}

func (r *Rule) setByDay(value string) error {
	for _, v := range strings.Split(value, ",") {
		cut := max(len(v)-2, 0)
		day := slices.Index(weekdays, v[cut:])
		if day < 0 {
			return fmt.Errorf("BYDAY=%s: want weekdays such as TU, or with a place, 1SA or -1FR", value)
		}
		w := Weekday{Day: time.Weekday(day)}
		if cut > 0 {
			places, err := numbers("BYDAY", v[:cut], 53, true)
			if err != nil {
				return err
			}
			w.N = places[0]
		}
		if slices.Contains(r.ByDay, w) {
			return fmt.Errorf("BYDAY has %s twice", v)
		}
		r.ByDay = append(r.ByDay, w)
	}
	return nil
}

// check holds the parts against each other, as the notes of RFC 5545, 3.3.10, do.
func (r *Rule) check(seen map[string]bool) error {
	placed := slices.ContainsFunc(r.ByDay, func(w Weekday) bool { return w.N != 0 })
	switch {
	case r.Freq == "":
		return errors.New("FREQ is missing")
	case seen["COUNT"] && seen["UNTIL"]:
		return errors.New("COUNT and UNTIL exclude each other")
	case placed && r.Freq != Monthly && r.Freq != Yearly:
		return fmt.Errorf("BYDAY with places, such as 1SA, does not go with FREQ=%s", r.Freq)
	case placed && len(r.ByWeekNo) > 0:
		return errors.New("BYDAY with places does not go with BYWEEKNO")
	case len(r.ByWeekNo) > 0 && r.Freq != Yearly:
		return errors.New("BYWEEKNO goes with FREQ=YEARLY alone")
	case len(r.ByYearDay) > 0 && r.Freq != Yearly:
		return errors.New("BYYEARDAY goes with FREQ=YEARLY alone")
	case len(r.ByMonthDay) > 0 && r.Freq == Weekly:
		return errors.New("BYMONTHDAY does not go with FREQ=WEEKLY")
	case len(r.BySetPos) > 0 && len(r.ByDay)+len(r.ByMonthDay)+len(r.ByMonth)+len(r.ByWeekNo)+len(r.ByYearDay) == 0:
		return errors.New("BYSETPOS goes with another BY… part")
	}
	return nil
}

// digits reads up to five decimal digits and nothing else.
func digits(s string) (int, bool) {
	if s == "" || len(s) > 5 || strings.Trim(s, "0123456789") != "" {
		return 0, false
	}
	n, err := strconv.Atoi(s)
	return n, err == nil
}

func number(name, value string, least, most int) (int, error) {
	n, ok := digits(value)
	if !ok || n < least || n > most {
		return 0, fmt.Errorf("%s=%s: want %d to %d", name, value, least, most)
	}
	return n, nil
}

func numbers(name, value string, most int, signed bool) ([]int, error) {
	var out []int
	for _, v := range strings.Split(value, ",") {
		sign, rest := 1, v
		if signed && v != "" {
			switch v[0] {
			case '-':
				sign, rest = -1, v[1:]
			case '+':
				rest = v[1:]
			}
		}
		n, ok := digits(rest)
		if !ok || n < 1 || n > most {
			return nil, fmt.Errorf("%s=%s: want 1 to %d%s", name, value, most, map[bool]string{true: ", or the same from the end, -1"}[signed])
		}
		if slices.Contains(out, sign*n) {
			return nil, fmt.Errorf("%s has %s twice", name, v)
		}
		out = append(out, sign*n)
	}
	return out, nil
}
