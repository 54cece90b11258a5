package ical

import (
	"fmt"
	"time"
)

// zone writes a VTIMEZONE (RFC 5545, 3.6.5) that is right from first to last:
// an observance for what holds at first, and one for every change after it. They
// are stated one by one, not by a recurrence rule: rules change, and a rule read
// off two years would promise the third.
func (w *writer) zone(zone *time.Location, first, last time.Time) {
	w.line("BEGIN", "VTIMEZONE")
	w.line("TZID", escape(zone.String()))
	// A year more than is shown: some readers want a standard time in every zone.
	t := first.AddDate(-1, 0, 0).In(zone)
	began, _ := t.ZoneBounds()
	_, offset := t.Zone()
	if began.IsZero() || began.Year() < earliest {
		began = time.Date(earliest, 1, 1, 0, 0, 0, 0, time.UTC)
		w.observance(t, began, offset) // as it was before, as far as matters
	} else {
		w.observance(t, began, offsetBefore(began, zone))
	}
	for {
		_, end := t.ZoneBounds()
		if end.IsZero() || end.After(last) {
			break
		}
		_, before := t.Zone()
		t = end.In(zone)
		w.observance(t, end, before)
	}
	w.line("END", "VTIMEZONE")
}

// earliest is a year before any event.
const earliest = 1970

// observance writes what holds at t, from the instant began on, before which the
// offset was another.
func (w *writer) observance(t, began time.Time, before int) {
	kind := "STANDARD"
	if t.IsDST() {
		kind = "DAYLIGHT"
	}
	name, offset := t.Zone()
	w.line("BEGIN", kind)
	// By the clock as it was until then.
	w.line("DTSTART", began.In(time.FixedZone("", before)).Format(wallClock))
	w.line("TZOFFSETFROM", offsetText(before))
	w.line("TZOFFSETTO", offsetText(offset))
	w.line("TZNAME", escape(name))
	w.line("END", kind)
}

func offsetBefore(change time.Time, zone *time.Location) int {
	_, offset := change.Add(-time.Second).In(zone).Zone()
	return offset
}

// offsetText is an offset from UTC in seconds (RFC 5545, 3.3.14).
func offsetText(offset int) string {
	sign := '+'
	if offset < 0 {
		sign, offset = '-', -offset
	}
	text := fmt.Sprintf("%c%02d%02d", sign, offset/3600, offset/60%60)
	if s := offset % 60; s != 0 {
		text += fmt.Sprintf("%02d", s)
	}
	return text
}

// shownBefore says whether the zone's clock showed the same at an earlier
// instant, because it was put back since.
func shownBefore(t time.Time, zone *time.Location) bool {
	began, _ := t.In(zone).ZoneBounds()
	if began.IsZero() {
		return false
	}
	_, offset := t.In(zone).Zone()
	back := time.Duration(offsetBefore(began, zone)-offset) * time.Second
	return back > 0 && t.Before(began.Add(back))
}
