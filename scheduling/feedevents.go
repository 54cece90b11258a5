package scheduling

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/scheduling/ical"
)

// What a calendar shows: some weeks back, so that what was cancelled is seen to
// be, and half a year ahead.
const (
	feedBack  = 35 * 24 * time.Hour
	feedAhead = 183 * 24 * time.Hour
)

// uid makes an id of ours one for the world (RFC 5545, 3.8.4.7).
func uid(id string) string { return id + "@wetside" }

// labCalendar shows the lab's sessions.
func labCalendar(ctx context.Context, tx pgx.Tx, s lab.Scope) ([]byte, error) {
	c := ical.Calendar{Name: s.Lab.Name, Zone: s.Lab.Location()}
	rows, err := tx.Query(ctx, `
		SELECT e.id, e.version, e.starts_at, e.ends_at, e.cancelled_at, e.processes, t.name
		FROM sessions e JOIN tanks t ON t.lab_id = e.lab_id AND t.id = e.tank_id
		WHERE e.lab_id = $1 AND e.starts_at > $2 AND e.starts_at < $3
		ORDER BY e.starts_at, e.id`, s.Lab.ID, s.Now.Add(-feedBack), s.Now.Add(feedAhead))
	if err != nil {
		return nil, fmt.Errorf("calendar: %w", err)
	}
	var id, tank string
	var version int64
	var start, end time.Time
	var cancelled *time.Time
	var processes []string
	_, err = pgx.ForEachRow(rows, []any{&id, &version, &start, &end, &cancelled, &processes, &tank}, func() error {
		c.Events = append(c.Events, ical.Event{
			UID: uid(id), Sequence: version - 1, Stamp: latest(madeAt(id), cancelled), Start: start, End: end,
			Status: unless(cancelled != nil, ical.Confirmed), Summary: tank, Description: strings.Join(processes, ", "), Location: s.Lab.Name,
		})
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("calendar: %w", err)
	}
	return c.Encode(), nil
}

// memberCalendar shows the sessions in which a member has places, and when
// their film is dry.
func memberCalendar(ctx context.Context, tx pgx.Tx, s lab.Scope) ([]byte, error) {
	c := ical.Calendar{Name: s.Lab.Name + " – mine", Zone: s.Lab.Location()}
	var err error
	if c.Events, err = placeEvents(ctx, tx, s); err != nil {
		return nil, fmt.Errorf("calendar: %w", err)
	}
	dry, err := dryEvents(ctx, tx, s)
	if err != nil {
		return nil, fmt.Errorf("calendar: %w", err)
	}
	c.Events = append(c.Events, dry...)
	return c.Encode(), nil
}

func placeEvents(ctx context.Context, tx pgx.Tx, s lab.Scope) ([]ical.Event, error) {
	rows, err := tx.Query(ctx, `
		SELECT b.id, b.version, b.held_until, b.confirmed_at, b.lapsed_at, b.cancelled_at, b.no_show_at,
			e.version, e.starts_at, e.ends_at, e.cancelled_at, t.name,
			(SELECT count(*) FROM booking_rolls k WHERE k.lab_id = b.lab_id AND k.booking_id = b.id)
		FROM bookings b
		JOIN sessions e ON e.lab_id = b.lab_id AND e.id = b.session_id
		JOIN tanks t ON t.lab_id = e.lab_id AND t.id = e.tank_id
		WHERE b.lab_id = $1 AND b.member_id = $2 AND e.starts_at > $3 AND e.starts_at < $4
		ORDER BY e.starts_at, b.id`, s.Lab.ID, s.By.ID, s.Now.Add(-feedBack), s.Now.Add(feedAhead))
	if err != nil {
		return nil, err
	}
	var all []ical.Event
	var p place
	fields := []any{&p.id, &p.version, &p.held, &p.confirmed, &p.lapsed, &p.cancelled, &p.missed,
		&p.session, &p.start, &p.end, &p.off, &p.tank, &p.rolls}
	_, err = pgx.ForEachRow(rows, fields, func() error {
		all = append(all, p.event(s))
		return nil
	})
	return all, err
}

// place is a booking as a calendar needs it.
type place struct {
	id, tank                                        string
	version, session, rolls                         int64
	start, end                                      time.Time
	held, confirmed, lapsed, cancelled, missed, off *time.Time
}

func (p place) event(s lab.Scope) ical.Event {
	ranOut := p.confirmed == nil && p.held != nil && !s.Now.Before(*p.held)
	e := ical.Event{
		UID: uid(p.id), Start: p.start, End: p.end, Summary: fmt.Sprintf("%s: %s", s.Lab.Name, counted(int(p.rolls))), Location: p.tank,
		Stamp: latest(madeAt(p.id), p.confirmed, p.lapsed, p.cancelled, p.missed, p.off),
		// A booking that is moved may come to a session of a lower version, so its
		// own counts first. That a hold has run out counts half a step, until somebody
		// acts on it.
		Sequence: p.version*1000 + min(p.session, 499),
	}
	if ranOut && p.lapsed == nil && p.cancelled == nil {
		e.Sequence += 500
	}
	held := ical.Confirmed
	if p.confirmed == nil {
		held = ical.Tentative
	}
	e.Status = unless(ranOut || p.lapsed != nil || p.cancelled != nil || p.off != nil, held)
	return e
}

// dryEvents say when a member's film can be fetched: one for each batch.
func dryEvents(ctx context.Context, tx pgx.Tx, s lab.Scope) ([]ical.Event, error) {
	rows, err := tx.Query(ctx, `
		SELECT b.id, b.version, b.status, max(k.dry_at), count(*)
		FROM batches b
		JOIN batch_rolls k ON k.lab_id = b.lab_id AND k.batch_id = b.id
		JOIN rolls r ON r.lab_id = k.lab_id AND r.id = k.roll_id AND r.member_id = $2
		WHERE b.lab_id = $1 AND b.start_at > $3 AND b.start_at < $4 AND b.status <> 'spoiled'
		GROUP BY b.lab_id, b.id
		ORDER BY max(k.dry_at), b.id`, s.Lab.ID, s.By.ID, s.Now.Add(-feedBack), s.Now.Add(feedAhead))
	if err != nil {
		return nil, err
	}
	var all []ical.Event
	var id, status string
	var version, rolls int64
	var dry time.Time
	_, err = pgx.ForEachRow(rows, []any{&id, &version, &status, &dry, &rolls}, func() error {
		all = append(all, ical.Event{
			UID: uid(id + "-" + s.By.ID), Sequence: version - 1, Stamp: madeAt(id), Start: dry, End: dry.Add(dryShown), Free: true,
			Status: unless(status == "cancelled", ical.Confirmed), Summary: fmt.Sprintf("%s: %s dry", s.Lab.Name, counted(int(rolls))), Location: s.Lab.Name,
		})
		return nil
	})
	return all, err
}

// dryShown is how long the moment at which film is dry is in a calendar.
const dryShown = 15 * time.Minute

func unless(cancelled bool, status ical.Status) ical.Status {
	if cancelled {
		return ical.Cancelled
	}
	return status
}

func latest(t time.Time, others ...*time.Time) time.Time {
	for _, o := range others {
		if o != nil && o.After(t) {
			t = *o
		}
	}
	return t
}

// madeAt is when the thing of an id was made: ids begin with that (RFC 9562, 5.7).
func madeAt(id string) time.Time {
	_, digits, _ := strings.Cut(id, "_")
	ms, err := strconv.ParseInt(digits[:min(12, len(digits))], 16, 64)
	if err != nil {
		return time.Unix(0, 0).UTC() // an id that did not come of new_id
	}
	return time.UnixMilli(ms).UTC()
}
