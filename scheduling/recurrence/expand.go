package recurrence

import (
	"slices"
	"time"
)

// Days are the days in [from, until) that the rule chooses, where the pattern
// begins on the day first: a day that the rule chooses or, if it does not, the
// pattern begins with the next one that it does. An UntilInstant is not heeded:
// days have no instant.
func (r Rule) Days(first, from, until time.Time) []time.Time {
	r = r.completed(first)
	if !r.UntilDay.IsZero() && r.UntilDay.Before(until) {
		until = r.UntilDay.AddDate(0, 0, 1)
	}
	var out []time.Time
	counted := 0
	for n := r.skipTo(first, from); ; n++ {
		start, end := r.period(first, n)
		if !start.Before(until) {
			return out
		}
		for _, day := range r.chosen(start, end) {
			if day.Before(first) {
				continue
			}
			if !day.Before(until) {
				return out
			}
			if counted++; !day.Before(from) {
				out = append(out, day)
			}
			if counted == r.Count {
				return out
			}
		}
	}
}

// completed takes from the first day what the rule does not say (RFC 5545,
// 3.3.10: "information, not contained in the rule, … derived from the Start Time").
func (r Rule) completed(first time.Time) Rule {
	switch {
	case len(r.ByDay)+len(r.ByMonthDay)+len(r.ByYearDay) > 0:
	case r.Freq == Weekly, len(r.ByWeekNo) > 0:
		r.ByDay = []Weekday{{Day: first.Weekday()}}
	case r.Freq == Monthly, r.Freq == Yearly:
		r.ByMonthDay = []int{first.Day()}
		if r.Freq == Yearly && len(r.ByMonth) == 0 {
			r.ByMonth = []int{int(first.Month())}
		}
	}
	return r
}

// period is the n-th day, week, month or year that the rule looks at, [start, end).
func (r Rule) period(first time.Time, n int) (start, end time.Time) {
	n *= r.Interval
	switch r.Freq {
	case Daily:
		start = first.AddDate(0, 0, n)
		return start, start.AddDate(0, 0, 1)
	case Weekly:
		start = weekOf(first, r.WeekStart).AddDate(0, 0, 7*n)
		return start, start.AddDate(0, 0, 7)
	case Monthly:
		start = time.Date(first.Year(), first.Month()+time.Month(n), 1, 0, 0, 0, 0, time.UTC)
		return start, start.AddDate(0, 1, 0)
	}
	if len(r.ByWeekNo) > 0 {
		// Numbered weeks belong to their year whole, also where it begins or ends a few days off the calendar's.
		year := r.weekYear(first) + n
		return r.firstWeek(year), r.firstWeek(year + 1)
	}
	start = time.Date(first.Year()+n, 1, 1, 0, 0, 0, 0, time.UTC)
	return start, start.AddDate(1, 0, 0)
}

// skipTo is a period not after the one with from. A rule that counts is
// followed from its beginning.
func (r Rule) skipTo(first, from time.Time) int {
	if r.Count > 0 || !from.After(first) {
		return 0
	}
	days := map[Frequency]int{Daily: 1, Weekly: 7, Monthly: 31, Yearly: 366}[r.Freq] * r.Interval
	return max(int(from.Sub(first)/(24*time.Hour))/days-1, 0)
}

// chosen are the days of a period that the rule chooses, in order.
func (r Rule) chosen(start, end time.Time) []time.Time {
	var days []time.Time
	for day := start; day.Before(end); day = day.AddDate(0, 0, 1) {
		if r.chooses(day) {
			days = append(days, day)
		}
	}
	if len(r.BySetPos) == 0 {
		return days
	}
	var picked []time.Time
	for i, day := range days {
		if slices.Contains(r.BySetPos, i+1) || slices.Contains(r.BySetPos, i-len(days)) {
			picked = append(picked, day)
		}
	}
	return picked
}

// chooses says whether a day meets all BY… parts but BYSETPOS.
func (r Rule) chooses(day time.Time) bool {
	if len(r.ByMonth) > 0 && !slices.Contains(r.ByMonth, int(day.Month())) {
		return false
	}
	if len(r.ByMonthDay) > 0 && !counts(r.ByMonthDay, day.Day(), daysIn(day.Year(), day.Month())) {
		return false
	}
	if len(r.ByYearDay) > 0 && !counts(r.ByYearDay, day.YearDay(), yearLength(day.Year())) {
		return false
	}
	if len(r.ByWeekNo) > 0 {
		week, weeks := r.weekNo(day)
		if !counts(r.ByWeekNo, week, weeks) {
			return false
		}
	}
	return len(r.ByDay) == 0 || slices.ContainsFunc(r.ByDay, func(w Weekday) bool { return r.isNth(day, w) })
}

// isNth says whether a day is such a weekday: any, or the n-th of its month, or
// of its year under FREQ=YEARLY without BYMONTH.
func (r Rule) isNth(day time.Time, w Weekday) bool {
	if day.Weekday() != w.Day || w.N == 0 {
		return day.Weekday() == w.Day
	}
	at, length := day.Day(), daysIn(day.Year(), day.Month())
	if r.Freq == Yearly && len(r.ByMonth) == 0 {
		at, length = day.YearDay(), yearLength(day.Year())
	}
	if w.N > 0 {
		return (at-1)/7+1 == w.N
	}
	return (length-at)/7+1 == -w.N
}

// counts says whether numbers, which may count from the end, have the n-th of length.
func counts(numbers []int, n, length int) bool {
	return slices.Contains(numbers, n) || slices.Contains(numbers, n-length-1)
}

// weekNo is the number of a day's week, and how many its year has: a year's
// first week is the first with four of its days (RFC 5545, as ISO 8601).
func (r Rule) weekNo(day time.Time) (week, weeks int) {
	year := r.weekYear(day)
	first, next := r.firstWeek(year), r.firstWeek(year+1)
	return int(day.Sub(first)/(7*24*time.Hour)) + 1, int(next.Sub(first) / (7 * 24 * time.Hour))
}

// weekYear is the year that a day's week belongs to: that of its fourth day.
func (r Rule) weekYear(day time.Time) int {
	return weekOf(day, r.WeekStart).AddDate(0, 0, 3).Year()
}

// firstWeek is the day that a year's first week begins on: 4 January is always in it.
func (r Rule) firstWeek(year int) time.Time {
	return weekOf(time.Date(year, 1, 4, 0, 0, 0, 0, time.UTC), r.WeekStart)
}

// weekOf is the first day of a day's week.
func weekOf(day time.Time, start time.Weekday) time.Time {
	return day.AddDate(0, 0, -int(day.Weekday()-start+7)%7)
}

func daysIn(year int, month time.Month) int {
	return time.Date(year, month+1, 0, 0, 0, 0, 0, time.UTC).Day()
}

func yearLength(year int) int { return time.Date(year, 12, 31, 0, 0, 0, 0, time.UTC).YearDay() }
