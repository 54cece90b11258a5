"""Reads calendars, one JSON string a line, by the Python package icalendar, and
prints for each what it understood. Times are reckoned by the calendar's own
VTIMEZONE, never by what this machine knows of the zone."""

import datetime
import json
import sys

import icalendar
import pytz


def instant(prop, zones):
    # An aware value came with Z; others are the wall clock of their TZID.
    tzid = prop.params.get("TZID")
    if tzid is None:
        assert prop.dt.tzinfo is not None, "a floating time"
        return prop.dt.astimezone(pytz.utc)
    wall = prop.dt.replace(tzinfo=None)
    # What a clock shows twice is the first time (RFC 5545, 3.3.5).
    return min(zones[tzid].localize(wall, is_dst=dst).astimezone(pytz.utc) for dst in (True, False))


for line in sys.stdin:
    calendar = icalendar.Calendar.from_ical(json.loads(line))
    zones = {str(z["TZID"]): z.to_tz() for z in calendar.walk("VTIMEZONE")}
    events = []
    for event in calendar.walk("VEVENT"):
        assert not event.errors, event.errors
        assert event["DTSTAMP"].dt.tzinfo is not None
        start, end = (instant(event[p], zones) for p in ("DTSTART", "DTEND"))
        events.append({
            "uid": str(event["UID"]),
            "sequence": int(event["SEQUENCE"]),
            "status": str(event["STATUS"]),
            "summary": str(event["SUMMARY"]),
            "description": str(event.get("DESCRIPTION", "")),
            "location": str(event.get("LOCATION", "")),
            "start": start.strftime("%Y-%m-%dT%H:%M:%SZ"),
            "end": end.strftime("%Y-%m-%dT%H:%M:%SZ"),
        })
    print(json.dumps({"name": str(calendar["X-WR-CALNAME"]), "events": events}))
