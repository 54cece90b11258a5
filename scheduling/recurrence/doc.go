// Package recurrence says on which local dates a pattern happens, and at which
// instants: the recurrence rules of RFC 5545 (iCalendar), 3.3.10, in a time zone.
//
// It has the parts of a rule that choose days: FREQ from DAILY to YEARLY,
// INTERVAL, COUNT, UNTIL, WKST and all BY… parts but those of the clock. A
// pattern happens once a day at most, at one time of the wall clock; rules by
// the hour, minute or second are refused.
//
// Days are chosen first and the clock is read after, so that daylight saving
// moves no pattern. What RFC 5545, 3.3.5, says of local times is [At]: one that
// happens twice is the first, one that the clocks skip is counted with the
// offset from before, and told.
//
// We wrote it because the kept library, teambition/rrule-go, gives no notice of
// skipped times, and for those goes by what time.Date happens to do; where it
// is right the tests hold this package against it.
//
// Days are time.Time at midnight in UTC. The package imports nothing of the
// project and reads no clock.
package recurrence
