package demo

import (
	"context"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"

	"wetside/scheduling"
)

// comingWeek fills the shelf for the coming week, books, plans and commits.
func (s *story) comingWeek() error {
	w := s.week
	if err := s.when(w.Open, "open the coming week", func(ctx context.Context) error { return s.openWeek(ctx, 0) }); err != nil {
		return err
	}
	for _, r := range slices.Concat(w.Counter, w.Rolls) {
		if err := s.handIn(r); err != nil {
			return err
		}
	}
	if err := s.when(w.Look.At, "look at the week", s.look); err != nil {
		return err
	}
	for _, b := range append(slices.Clone(w.Bookings), w.Meanwhile) {
		if err := s.when(b.At, "book "+b.Session, func(ctx context.Context) error { return s.book(ctx, b) }); err != nil {
			return err
		}
	}
	for _, step := range []struct {
		date, what string
		do         func(ctx context.Context) error
	}{
		{w.Plan, "plan the coming week", func(ctx context.Context) (err error) {
			s.told.First, _, err = s.makePlan(ctx, s.cal.monday, 0)
			return err
		}},
		{w.Pin.At, "pin a roll", func(ctx context.Context) error { return s.direct(ctx, "pins", w.Pin) }},
		{w.Ban.At, "ban a roll", func(ctx context.Context) error { return s.direct(ctx, "bans", w.Ban) }},
		{w.Again, "plan again", func(ctx context.Context) error { return s.planAgain(ctx, w) }},
		{w.Commit, "commit the coming week", s.settle},
	} {
		if err := s.when(step.date, step.what, step.do); err != nil {
			return err
		}
	}
	return nil
}

// session finds a session of the coming week by weekday and tank: "Tue long".
func (s *story) session(ctx context.Context, name string) (string, error) {
	return s.sessionOf(ctx, 0, name)
}

// sessionOf finds one of a week.
func (s *story) sessionOf(ctx context.Context, week int, name string) (string, error) {
	day, tank, _ := strings.Cut(name, " ")
	sessions, err := s.sessions(ctx, s.people[stewardKey], week, nil)
	if err != nil {
		return "", err
	}
	for _, e := range sessions {
		if e.CancelledAt == nil && e.Tank == s.tanks[tank] && e.Start.In(s.cal.monday.Location()).Format("Mon") == day {
			return e.ID, nil
		}
	}
	return "", fmt.Errorf("week %+d has no session %q", week, name)
}

// sessions lists those of a week, with places for rolls.
func (s *story) sessions(ctx context.Context, p person, week int, rolls []string) ([]scheduling.OpenSession, error) {
	q := url.Values{
		"from": {s.cal.week(week).UTC().Format(time.RFC3339)}, "until": {s.cal.week(week + 1).UTC().Format(time.RFC3339)},
		"places_for": rolls,
	}
	return all[scheduling.OpenSession](ctx, p.client, s.in("sessions")+"?"+q.Encode())
}

// look asks where a member's own rolls have places.
func (s *story) look(ctx context.Context) (err error) {
	s.told.Places, err = s.sessions(ctx, s.people[s.week.Look.Of], 0, s.rollIDs(s.week.Look.Rolls))
	return err
}

func (s *story) rollIDs(keys []string) []string {
	ids := make([]string, len(keys))
	for i, key := range keys {
		ids[i] = s.told.Rolls[key]
	}
	return ids
}

func (s *story) book(ctx context.Context, b bookingData) error {
	session, err := s.session(ctx, b.Session)
	if err != nil {
		return err
	}
	member := s.people[b.Of]
	err = member.post(ctx, s.in("bookings"), scheduling.NewBooking{Session: session, Rolls: s.rollIDs(b.Rolls)}, nil)
	what := fmt.Sprintf("books %s for %s", strings.Join(b.Rolls, ", "), b.Session)
	if b.Refused != nil {
		return s.expect(err, member.name, what, 409, b.Refused...)
	}
	if err == nil {
		s.say("%s %s", member.name, what)
	}
	return err
}

// direct gives a pin or a ban.
func (s *story) direct(ctx context.Context, kind string, d directionData) error {
	session, err := s.session(ctx, d.Session)
	if err != nil {
		return err
	}
	s.say("%s: %s, %s", kind, d.Roll, d.Session)
	return s.people[stewardKey].post(ctx, s.in(kind), map[string]string{"roll": s.told.Rolls[d.Roll], "session": session}, nil)
}

// planAgain plans with the directions; the plan is refused once somebody has
// booked since.
func (s *story) planAgain(ctx context.Context, w week) (err error) {
	var etag string
	if s.told.Second, etag, err = s.makePlan(ctx, s.cal.monday, 0); err != nil {
		return err
	}
	return s.when(w.Stale, "commit a stale plan", func(ctx context.Context) error {
		_, _, err := s.commit(ctx, s.told.Second, etag)
		return s.expect(err, s.people[stewardKey].name, "commits a plan made before the last booking", 412, "plan-stale")
	})
}

// settle plans once more and commits.
func (s *story) settle(ctx context.Context) error {
	plan, etag, err := s.makePlan(ctx, s.cal.monday, 0)
	if err != nil {
		return err
	}
	s.told.Final, _, err = s.commit(ctx, plan, etag)
	return err
}
