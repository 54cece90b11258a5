package scheduling

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// A CalendarChange is what became of sessions when the calendar changed, or
// days were opened.
type CalendarChange struct {
	// Sessions were made; Changed were not booked and follow the calendar;
	// CalledOff were not booked and are of no opening's day any more.
	Sessions  []Session `json:"sessions"`
	Changed   []Session `json:"changed"`
	CalledOff []Session `json:"called_off"`
	// Kept are booked and stay, though the calendar has them otherwise now.
	Kept []KeptSession `json:"kept"`
	// Skipped are days of openings that no session came of, and Moved those
	// whose session begins later than it says.
	Skipped []OccurrenceNote `json:"skipped"`
	Moved   []OccurrenceNote `json:"moved"`
}

// A KeptSession is a booked session that the calendar has otherwise.
type KeptSession struct {
	Session Session `json:"session"`
	Detail  string  `json:"detail"`
}

func noChange() CalendarChange {
	return CalendarChange{Sessions: []Session{}, Changed: []Session{}, CalledOff: []Session{}, Kept: []KeptSession{},
		Skipped: []OccurrenceNote{}, Moved: []OccurrenceNote{}}
}

// A scope is which part of the calendar is to be followed: one opening or, if
// none is named, all; on some days or, if none are given, on all from
// yesterday on; of which only those that are open count.
type scope struct {
	opening string
	days    *days
}

// A madeSession is a session made of an opening's day.
type madeSession struct {
	Session
	opening string
	day     time.Time
	// byCalendar says that it was called off by the calendar, which may take that back.
	byCalendar bool
}

// occurrenceKey tells days of openings apart.
type occurrenceKey struct {
	opening string
	day     int64
}

// A follower brings sessions in line with the calendar. The lab is locked.
type follower struct {
	s      lab.Scope
	tx     pgx.Tx
	wanted map[occurrenceKey]occurrence
	change CalendarChange
	// taken is when each tank has a session that stands.
	taken map[string][]window
	// left are the operators of openings who have left the lab.
	left map[string]bool
	// apart parts the ids of sessions made at one instant.
	apart int
}

// A window is [from, until).
type window struct{ from, until time.Time }

// follow brings the sessions of days that are open in line with the calendar.
// Sessions that have begun, or that somebody holds a place in, or that were
// called off by hand, stay as they are. Done again it changes nothing.
func follow(ctx context.Context, tx pgx.Tx, s lab.Scope, sc scope) (CalendarChange, error) {
	f := &follower{s: s, tx: tx, wanted: map[occurrenceKey]occurrence{}, change: noChange(), taken: map[string][]window{}, left: map[string]bool{}}
	c, err := readOpenCalendar(ctx, tx, s)
	if err != nil {
		return f.change, err
	}
	spans, err := openSpans(ctx, tx, s, sc)
	if err != nil || len(spans) == 0 {
		return f.change, err
	}
	for _, o := range c.openings {
		if sc.opening != "" && sc.opening != o.ID {
			continue
		}
		for _, span := range spans {
			all, err := c.occurrences(o, span)
			if err != nil {
				return f.change, err
			}
			for _, at := range all {
				f.wanted[occurrenceKey{o.ID, at.day.Unix()}] = at
			}
		}
	}
	existing, err := madeSessions(ctx, tx, s, sc, spans)
	if err != nil {
		return f.change, err
	}
	if err := f.settle(ctx, existing); err != nil {
		return f.change, err
	}
	if len(f.change.Sessions)+len(f.change.Changed)+len(f.change.CalledOff) == 0 {
		return f.change, nil
	}
	return f.change, lab.Touch(ctx, tx, s.Lab.ID)
}

// openSpans are the scope's days that are open.
func openSpans(ctx context.Context, tx pgx.Tx, s lab.Scope, sc scope) ([]days, error) {
	within := days{today(s).AddDate(0, 0, -1), lastDay}
	if sc.days != nil {
		within = *sc.days
	}
	rows, err := many[struct{ From, Until time.Time }](ctx, tx, "opened days", `
		SELECT lower(span), upper(span)
		FROM calendars, unnest(opened * datemultirange(daterange($2, $3))) AS span WHERE lab_id = $1 ORDER BY span`,
		s.Lab.ID, within.from, within.until)
	var out []days
	for _, r := range rows {
		out = append(out, days{r.From, r.Until})
	}
	return out, err
}

// madeSessions reads the sessions that were made of the scope's days.
func madeSessions(ctx context.Context, tx pgx.Tx, s lab.Scope, sc scope, spans []days) ([]madeSession, error) {
	from, until := spans[0].from, spans[len(spans)-1].until
	type key struct {
		ID, Opening string
		Day         time.Time
		ByCalendar  bool
	}
	keys, err := many[key](ctx, tx, "sessions of openings", `
		SELECT id, opening_id, occurs_on, by_calendar FROM sessions
		WHERE lab_id = $1 AND occurs_on >= $2 AND occurs_on < $3 AND ($4 = '' OR opening_id = $4)`,
		s.Lab.ID, from, until, sc.opening)
	if err != nil {
		return nil, err
	}
	byID, ids := map[string]key{}, []string{}
	for _, k := range keys {
		if slices.ContainsFunc(spans, func(d days) bool { return d.holds(k.Day) }) {
			byID[k.ID] = k
			ids = append(ids, k.ID)
		}
	}
	sessions, err := many[Session](ctx, tx, "sessions", sessionQuery+" AND e.id = ANY($3) ORDER BY e.starts_at, e.id",
		s.Lab.ID, s.Now, ids)
	var out []madeSession
	for _, e := range sessions {
		k := byID[e.ID]
		out = append(out, madeSession{Session: e, opening: k.Opening, day: k.Day, byCalendar: k.ByCalendar})
	}
	return out, err
}

// settle decides what becomes of each session there is and of each wanted. What
// is in the way is called off before anything takes its place.
func (f *follower) settle(ctx context.Context, existing []madeSession) error {
	again := map[occurrenceKey]madeSession{} // to be made anew of what there is
	var off []string
	for _, e := range existing {
		key := occurrenceKey{e.opening, e.day.Unix()}
		at, wanted := f.wanted[key]
		fate := f.fate(e, at, wanted && at.not == nil)
		if fate != stays {
			if e.CancelledAt == nil {
				off = append(off, e.ID)
			}
			if fate == follows {
				again[key] = e
			}
			continue
		}
		if wanted && e.CancelledAt != nil && !e.byCalendar {
			f.skip(at.tell("called-off", "its session was called off"))
		}
		if wanted && at.not == nil {
			delete(f.wanted, key)
		}
	}
	if err := f.callOff(ctx, off); err != nil {
		return err
	}
	if err := f.readTaken(ctx); err != nil {
		return err
	}
	if err := f.readLeft(ctx); err != nil {
		return err
	}
	gone := off
	for _, at := range f.inOrder() {
		key := occurrenceKey{at.opening.ID, at.day.Unix()}
		old, had := again[key]
		done, err := f.make(ctx, at, old, had)
		if err != nil {
			return err
		}
		if done && had {
			gone = slices.DeleteFunc(gone, func(id string) bool { return id == old.ID })
		}
	}
	var err error
	f.change.CalledOff, err = f.sessions(ctx, gone)
	return err
}

// What becomes of a session.
type fate int

const (
	stays fate = iota
	follows
	goes
)

// fate decides what becomes of a session whose opening has its day as at, if at
// all, and notes what is to be told of one that is kept.
func (f *follower) fate(e madeSession, at occurrence, wanted bool) fate {
	byHand := e.CancelledAt != nil && !e.byCalendar
	same := wanted && e.sameAs(at.session)
	switch {
	case byHand, !e.Start.After(f.s.Now):
		return stays
	case e.PlacesTaken > 0 && !same:
		detail := "its opening has no such day any more"
		if wanted {
			detail = fmt.Sprintf("by its opening it would be %s to %s", at.session.Start.Format(time.RFC3339), at.session.End.Format(time.RFC3339))
			if e.Start.Equal(at.session.Start) && e.End.Equal(at.session.End) {
				detail = "by its opening it would be of another tank, operator or processes"
			}
		} else if at.not != nil {
			detail = at.not.Detail
		}
		f.change.Kept = append(f.change.Kept, KeptSession{Session: e.Session, Detail: detail})
		return stays
	case same && e.CancelledAt == nil:
		if at.note != nil {
			f.change.Moved = append(f.change.Moved, *at.note)
		}
		return stays
	case wanted:
		return follows
	default:
		return goes
	}
}

// sameAs says whether the session is as wanted. Who runs a self-service session
// is for those who book it to say.
func (e Session) sameAs(in NewSession) bool {
	return e.Tank == in.Tank && e.Start.Equal(in.Start) && e.End.Equal(in.End) && e.Kind == in.Kind &&
		(e.Operator == in.Operator || e.Kind == SelfService) && slices.Equal(e.Processes, nonNil(in.Processes))
}

// inOrder are the days still wanted, by time.
func (f *follower) inOrder() []occurrence {
	var all []occurrence
	for _, at := range f.wanted {
		all = append(all, at)
	}
	slices.SortFunc(all, func(a, b occurrence) int {
		return cmp.Or(a.session.Start.Compare(b.session.Start), cmp.Compare(a.opening.ID, b.opening.ID), a.day.Compare(b.day))
	})
	return all
}

func (f *follower) skip(n *OccurrenceNote) { f.change.Skipped = append(f.change.Skipped, *n) }

// make makes the session of an opening's day, of the old one if it had one; it
// says whether there is one now, and notes why not.
func (f *follower) make(ctx context.Context, at occurrence, old madeSession, had bool) (bool, error) {
	free := func(w window) bool { return !w.from.Before(at.session.End) || !at.session.Start.Before(w.until) }
	switch {
	case at.not != nil:
		f.skip(at.not)
		return false, nil
	case !at.session.End.After(f.s.Now):
		f.skip(at.tell("over", "it is over"))
		return false, nil
	case f.left[at.session.Operator]:
		f.skip(at.tell("operator-left", "its operator has left the lab"))
		return false, nil
	case slices.ContainsFunc(f.taken[at.session.Tank], func(w window) bool { return !free(w) }):
		f.skip(at.tell("tank-taken", "the tank has a session then"))
		return false, nil
	}
	f.taken[at.session.Tank] = append(f.taken[at.session.Tank], window{at.session.Start, at.session.End})
	if at.note != nil {
		f.change.Moved = append(f.change.Moved, *at.note)
	}
	if had {
		changed, err := f.remake(ctx, old.ID, at.session)
		f.change.Changed = append(f.change.Changed, changed)
		return true, err
	}
	// A millisecond apart, so that sessions keep their order by id.
	apart := f.s
	apart.Now = f.s.Now.Add(time.Duration(f.apart) * time.Millisecond)
	f.apart++
	made, err := insertSession(ctx, f.tx, apart, at.session, &at)
	f.change.Sessions = append(f.change.Sessions, made)
	return true, err
}

// remake has a session that nobody holds a place in be as wanted.
func (f *follower) remake(ctx context.Context, id string, in NewSession) (Session, error) {
	_, err := f.tx.Exec(ctx, `
		UPDATE sessions SET tank_id = $3, operator_id = nullif($4, ''), during = tstzrange($5, $6, '[)'), processes = $7, kind = $8,
			cancelled_at = NULL, by_calendar = false, version = version + 1
		WHERE lab_id = $1 AND id = $2`,
		f.s.Lab.ID, id, in.Tank, in.Operator, in.Start, in.End, nonNil(in.Processes), string(in.Kind))
	if err != nil {
		return Session{}, fmt.Errorf("change session: %w", err)
	}
	return FindSession(ctx, f.tx, f.s, id)
}

// callOff calls sessions off that the calendar has no more, or has elsewhere.
func (f *follower) callOff(ctx context.Context, ids []string) error {
	if len(ids) == 0 {
		return nil
	}
	_, err := f.tx.Exec(ctx, `
		UPDATE sessions SET cancelled_at = $3, by_calendar = true, version = version + 1 WHERE lab_id = $1 AND id = ANY($2)`,
		f.s.Lab.ID, ids, f.s.Now)
	if err != nil {
		return fmt.Errorf("call sessions off: %w", err)
	}
	return nil
}

// readTaken reads when tanks have sessions, in all the time that is wanted.
func (f *follower) readTaken(ctx context.Context) error {
	if len(f.wanted) == 0 {
		return nil
	}
	var span window
	for _, at := range f.wanted {
		if span.from.IsZero() || at.session.Start.Before(span.from) {
			span.from = at.session.Start
		}
		span.until = later(span.until, at.session.End)
	}
	type row struct {
		Tank        string
		From, Until time.Time
	}
	rows, err := many[row](ctx, f.tx, "sessions", `
		SELECT tank_id, starts_at, ends_at FROM sessions
		WHERE lab_id = $1 AND starts_at > $2::timestamptz - interval '1 day' AND starts_at < $3 AND ends_at > $2 AND cancelled_at IS NULL`, f.s.Lab.ID, span.from, span.until)
	for _, r := range rows {
		f.taken[r.Tank] = append(f.taken[r.Tank], window{r.From, r.Until})
	}
	return err
}

// sessions reads sessions by id, by start.
func (f *follower) sessions(ctx context.Context, ids []string) ([]Session, error) {
	if len(ids) == 0 {
		return []Session{}, nil
	}
	return many[Session](ctx, f.tx, "sessions", sessionQuery+" AND e.id = ANY($3) ORDER BY e.starts_at, e.id",
		f.s.Lab.ID, f.s.Now, ids)
}
