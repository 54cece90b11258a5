package recurrence

import "time"

// A Reading is what instant a wall clock's time is.
type Reading struct {
	At time.Time
	// Skipped says that the clocks never show the time that day: they go from
	// From to To, both as the wall clock shows them. At counts with the offset
	// from before, as RFC 5545, 3.3.5, has it, and so is later by the clock.
	Skipped  bool
	From, To time.Time
	// Twice says that the clocks show the time twice; At is the first.
	Twice bool
}

// furthest is more than any zone has ever been away from UTC.
const furthest = 27 * time.Hour

// At reads a wall clock in a zone: clock after midnight on a day, which is at
// midnight in UTC. The instant does not depend on how time.Date chooses.
func At(day time.Time, clock time.Duration, zone *time.Location) Reading {
	shown := day.Add(clock) // the wall clock, as if it were UTC
	var r Reading
	for t := shown.Add(-furthest); ; {
		_, seconds := t.In(zone).Zone()
		offset := time.Duration(seconds) * time.Second
		_, end := t.In(zone).ZoneBounds()
		at := shown.Add(-offset)
		switch {
		case at.Before(t):
			// Not in this period but, perhaps, in none.
		case end.IsZero() || at.Before(end):
			if !r.At.IsZero() && !r.Skipped {
				r.Twice = true
				return r
			}
			r = Reading{At: at.In(zone)}
		default:
			// After this period. It may be skipped with the change that ends the period.
			_, after := end.In(zone).Zone()
			next := end.UTC().Add(time.Duration(after) * time.Second)
			if r.At.IsZero() && shown.Before(next) {
				r = Reading{At: at.In(zone), Skipped: true, From: end.UTC().Add(offset), To: next}
			}
		}
		if end.IsZero() || end.After(shown.Add(furthest)) {
			return r
		}
		t = end
	}
}
