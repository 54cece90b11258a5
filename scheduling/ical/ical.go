// Package ical writes calendars as iCalendar (RFC 5545): events in the time of
// one zone, with the zone's rules for the years shown. It is pure.
//
// It is our own, since the kept encoder there is (emersion/go-ical) does not
// fold long lines, and neither that nor others make the rules of a time zone.
package ical

import (
	"fmt"
	"strings"
	"time"
	"unicode/utf8"
)

// A Status is what has become of an event (RFC 5545, 3.8.1.11).
type Status string

// The statuses of events.
const (
	Tentative Status = "TENTATIVE"
	Confirmed Status = "CONFIRMED"
	Cancelled Status = "CANCELLED"
)

// A Calendar is what one feed shows.
type Calendar struct {
	// Name is for people (RFC 7986, NAME).
	Name   string
	Zone   *time.Location
	Events []Event
}

// An Event is one appointment.
type Event struct {
	// UID is the event's for ever, in whatever calendar it stands.
	UID string
	// Sequence rises whenever the event changes, so that a copy is replaced.
	Sequence int64
	// Stamp is when the event last changed, as far as is known.
	Stamp      time.Time
	Start, End time.Time
	Status     Status
	Summary    string
	// Description and Location are left out if they are empty.
	Description, Location string
	// Free says that it keeps nobody from doing anything else.
	Free bool
}

// Refresh is how often readers are asked to come again (RFC 7986, 5.7).
const refresh = "PT30M"

// Encode writes the calendar. The same calendar is the same bytes.
func (c Calendar) Encode() []byte {
	w := &writer{}
	w.line("BEGIN", "VCALENDAR")
	w.line("VERSION", "2.0")
	w.line("PRODID", "-//Wetside//Film lab//EN")
	w.line("CALSCALE", "GREGORIAN")
	w.line("NAME", escape(c.Name))
	w.line("X-WR-CALNAME", escape(c.Name)) // what readers older than RFC 7986 go by
	w.line("REFRESH-INTERVAL;VALUE=DURATION", refresh)
	w.line("X-PUBLISHED-TTL", refresh)
	if first, last, any := c.span(); any && c.Zone != time.UTC {
		w.zone(c.Zone, first, last)
	}
	for _, e := range c.Events {
		w.event(e, c.Zone)
	}
	w.line("END", "VCALENDAR")
	return []byte(w.String())
}

// span is when the first event begins and the last one ends.
func (c Calendar) span() (first, last time.Time, any bool) {
	for i, e := range c.Events {
		if i == 0 || e.Start.Before(first) {
			first = e.Start
		}
		if i == 0 || e.End.After(last) {
			last = e.End
		}
	}
	return first, last, len(c.Events) > 0
}

type writer struct{ strings.Builder }

func (w *writer) event(e Event, zone *time.Location) {
	w.line("BEGIN", "VEVENT")
	w.line("UID", escape(e.UID))
	w.line("SEQUENCE", fmt.Sprint(e.Sequence))
	w.line("DTSTAMP", utc(e.Stamp))
	w.instant("DTSTART", e.Start, zone)
	w.instant("DTEND", e.End, zone)
	w.line("STATUS", string(e.Status))
	w.line("SUMMARY", escape(e.Summary))
	if e.Description != "" {
		w.line("DESCRIPTION", escape(e.Description))
	}
	if e.Location != "" {
		w.line("LOCATION", escape(e.Location))
	}
	if e.Free || e.Status == Cancelled {
		w.line("TRANSP", "TRANSPARENT")
	} else {
		w.line("TRANSP", "OPAQUE")
	}
	w.line("END", "VEVENT")
}

const (
	wallClock = "20060102T150405"
	utcClock  = "20060102T150405Z"
)

func utc(t time.Time) string { return t.UTC().Format(utcClock) }

// instant writes a time by the zone's wall clock. What the clock shows twice
// means the first time to readers (RFC 5545, 3.3.5); the second is written in UTC.
func (w *writer) instant(name string, t time.Time, zone *time.Location) {
	t = t.Truncate(time.Second)
	if zone == time.UTC || shownBefore(t, zone) {
		w.line(name, utc(t))
		return
	}
	w.line(name+";TZID="+parameter(zone.String()), t.In(zone).Format(wallClock))
}

// line writes one content line, folded so that no line is longer than 75 octets
// and no character is cut (RFC 5545, 3.1).
func (w *writer) line(name, value string) {
	text, room := name+":"+value, 75
	for len(text) > room {
		cut := room
		for !utf8.RuneStart(text[cut]) {
			cut--
		}
		w.WriteString(text[:cut] + "\r\n ")
		text, room = text[cut:], 74 // the blank that a folded line begins with counts
	}
	w.WriteString(text + "\r\n")
}

var escaper = strings.NewReplacer(`\`, `\\`, ";", `\;`, ",", `\,`, "\r\n", `\n`, "\n", `\n`, "\r", `\n`)

// escape writes a text value (RFC 5545, 3.3.11). Control characters other than
// line breaks have no place in one, nor have bytes that are no text.
func escape(text string) string {
	text = strings.Map(func(r rune) rune {
		if r < ' ' && r != '\n' && r != '\r' && r != '\t' || r == 0x7f {
			return -1
		}
		return r
	}, strings.ToValidUTF8(text, "\uFFFD"))
	return escaper.Replace(text)
}

// parameter quotes a parameter's value where it must be (RFC 5545, 3.2).
func parameter(text string) string {
	if strings.ContainsAny(text, ";:,") {
		return `"` + text + `"`
	}
	return text
}
