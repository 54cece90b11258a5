package demo

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"time"

	"wetside/lab/telling"
	"wetside/scheduling"
)

// After is what comes of the week after the coming one.
type After struct {
	// Calendar are the changes that the keeper makes, in order.
	Calendar []CalendarStep
	// Asked is what the calendar has for what somebody would like to book, Booked
	// what they make of the first offer.
	Asked  scheduling.Availability
	Booked scheduling.Booking
	// Waits are the entries of the waiting list as they joined, Offered the one
	// that a place is offered to, and Accepted the same at last.
	Waits             []scheduling.Waiting
	Offered, Accepted scheduling.Waiting
	// Lapsed was held and not confirmed.
	Lapsed scheduling.Booking
	// Alone is a session that its booker runs.
	Alone scheduling.Session
	// Joined is the booking of who joins.
	Joined scheduling.Booking
	// Heard are the messages of who waited and got a place, Feed their calendar
	// as another program reads it.
	Heard []telling.Message
	Feed  string
	// Plan is the week's, and Gains what a change of the lab's means would gain.
	Plan  scheduling.Plan
	Gains scheduling.PlanGains
}

// A CalendarStep is one change of the calendar, in words, and what became of sessions.
type CalendarStep struct {
	What   string
	Change scheduling.CalendarChange
}

// weekAfter has members book a week further ahead, and the steward plan it.
func (s *story) weekAfter() error {
	a := s.after
	for _, step := range []struct {
		date, what string
		do         func(ctx context.Context) error
	}{
		{a.Open, "open the week after", func(ctx context.Context) error { return s.openWeek(ctx, 1) }},
		{a.Calendar.At, "change the calendar", s.changeCalendar},
		{a.Ask.At, "ask when", s.ask},
		{a.Confirm, "confirm a hold", s.confirm},
		{a.Wait.Has.At, "take the places", s.takePlaces},
		{a.Wait.List[0].At, "wait", func(ctx context.Context) error { return s.wait(ctx, a.Wait.List[0]) }},
		{a.Wait.List[1].At, "wait too", func(ctx context.Context) error { return s.wait(ctx, a.Wait.List[1]) }},
		{a.Wait.Back, "give a place back", s.giveBack},
		{a.Wait.Accept, "accept an offer", s.accept},
		{a.Lapse.Roll.At, "hold a place", s.hold},
		{a.Lapse.Look, "look at a hold", s.lookAtHold},
		{a.Alone.Roll.At, "book a session to run alone", s.alone},
		{a.Joins.At, "join", s.join},
		{a.Hear, "hear of it", s.hear},
		{a.Plan, "plan the week after", s.planAfter},
	} {
		if err := s.when(step.date, step.what, step.do); err != nil {
			return err
		}
	}
	return nil
}

// changeCalendar closes a day, opens another beside the rule, and adds an
// opening whose sessions members run themselves.
func (s *story) changeCalendar(ctx context.Context) error {
	keeper, c := s.people[s.coop.Keeper], s.after.Calendar
	day := func(name string) string {
		at, err := s.cal.at("1 " + name + " 00:00")
		if err != nil {
			return name
		}
		return at.Format(time.DateOnly)
	}
	for _, step := range []struct {
		path, what string
		in         any
	}{
		{"closures", c.Closed.Day + " is closed: " + c.Closed.Reason,
			scheduling.NewClosure{FromDay: day(c.Closed.Day), Reason: c.Closed.Reason}},
		{"extra-days", c.Extra.Day + " is open from " + c.Extra.Starts + ", beside the rule: " + c.Extra.Reason,
			scheduling.NewExtraDay{Opening: s.openings[c.Extra.Opening], Day: day(c.Extra.Day), Starts: &c.Extra.Starts, Lasts: &c.Extra.Lasts, Reason: c.Extra.Reason}},
		{"openings", c.Alone.Rule + " from " + c.Alone.Starts + ", run by members themselves",
			scheduling.NewOpening{Rule: c.Alone.Rule, FirstDay: day("Mon"), Starts: c.Alone.Starts, Lasts: c.Alone.Lasts,
				Tank: s.tanks[c.Alone.Tank], Kind: scheduling.SelfService, Processes: c.Alone.Processes}},
	} {
		var made struct {
			Change scheduling.CalendarChange `json:"change"`
		}
		if err := keeper.post(ctx, s.in(step.path), step.in, &made); err != nil {
			return err
		}
		s.told.After.Calendar = append(s.told.After.Calendar, CalendarStep{step.what, made.Change})
		s.say("%s (%d sessions made, %d called off)", step.what, len(made.Change.Sessions), len(made.Change.CalledOff))
	}
	return nil
}

// ask asks for the first session that takes some film together, hands that in,
// and holds the place that was offered.
func (s *story) ask(ctx context.Context) error {
	a := s.after.Ask
	member := s.people[a.Of]
	if err := member.post(ctx, s.in("availability"), scheduling.Wish{Films: a.Films}, &s.told.After.Asked); err != nil {
		return err
	}
	offers := s.told.After.Asked.Offers
	if len(offers) == 0 {
		return fmt.Errorf("nothing takes what %s asks for", member.name)
	}
	var rolls []string
	for _, f := range a.Films {
		ids, err := s.handOver(ctx, rollData{Of: a.Of, Format: f.Format, Process: f.Process, Count: f.Count})
		if err != nil {
			return err
		}
		rolls = append(rolls, ids...)
	}
	in := scheduling.NewBooking{Session: offers[0].Session.ID, Rolls: rolls, Hold: true}
	if err := member.post(ctx, s.in("bookings"), in, &s.told.After.Booked); err != nil {
		return err
	}
	s.say("%s asks when %d rolls could run together: %s; holds it", member.name, len(rolls), s.clock(offers[0].Session.Start))
	return nil
}

// clock is an instant by the lab's clock.
func (s *story) clock(at time.Time) string {
	return at.In(s.cal.monday.Location()).Format("Mon 2 Jan 15:04")
}

func (s *story) confirm(ctx context.Context) error {
	member := s.people[s.after.Ask.Of]
	at := s.in("bookings", s.told.After.Booked.ID)
	etag, err := member.get(ctx, at, nil)
	if err != nil {
		return err
	}
	s.say("%s confirms", member.name)
	_, err = member.call(ctx, http.MethodPost, at+"/confirmation", etag, nil, &s.told.After.Booked)
	return err
}

// bookNow hands rolls in and books them in a session of the week after.
func (s *story) bookNow(ctx context.Context, session string, r rollData, hold bool) (scheduling.Booking, error) {
	var b scheduling.Booking
	id, err := s.sessionOf(ctx, 1, session)
	if err != nil {
		return b, err
	}
	rolls, err := s.handOver(ctx, r)
	if err != nil {
		return b, err
	}
	return b, s.people[r.Of].post(ctx, s.in("bookings"), scheduling.NewBooking{Session: id, Rolls: rolls, Hold: hold}, &b)
}

// takePlaces books what others will wait for.
func (s *story) takePlaces(ctx context.Context) error {
	w := s.after.Wait
	b, err := s.bookNow(ctx, w.Session, w.Has, false)
	s.told.Bookings[w.Has.Of] = b.ID
	s.say("%s books %s for %s", s.people[w.Has.Of].name, count(len(b.Rolls), "roll", "rolls"), w.Session)
	return err
}

// wait puts rolls on the waiting list.
func (s *story) wait(ctx context.Context, r rollData) error {
	session, err := s.sessionOf(ctx, 1, s.after.Wait.Session)
	if err != nil {
		return err
	}
	rolls, err := s.handOver(ctx, r)
	if err != nil {
		return err
	}
	member := s.people[r.Of]
	var w scheduling.Waiting
	if err := member.post(ctx, s.in("waiting-list"), scheduling.NewWaiting{Session: &session, Rolls: rolls}, &w); err != nil {
		return err
	}
	s.told.After.Waits = append(s.told.After.Waits, w)
	s.say("%s waits for %s in %s", member.name, count(len(rolls), "place", "places"), s.after.Wait.Session)
	return nil
}

// giveBack takes one roll out of a booking. The place goes to the first whom it fits.
func (s *story) giveBack(ctx context.Context) error {
	member := s.people[s.after.Wait.Has.Of]
	at := s.in("bookings", s.told.Bookings[s.after.Wait.Has.Of])
	var b scheduling.Booking
	etag, err := member.get(ctx, at, &b)
	if err != nil {
		return err
	}
	rolls := b.Rolls[1:]
	if _, err := member.call(ctx, http.MethodPatch, at, etag, scheduling.BookingChange{Rolls: &rolls}, &b); err != nil {
		return err
	}
	s.say("%s gives a place back", member.name)
	for _, w := range s.told.After.Waits {
		var now scheduling.Waiting
		if _, err := s.member(w.Member).get(ctx, s.in("waiting-list", w.ID), &now); err != nil {
			return err
		}
		if now.Status == scheduling.Offered {
			s.told.After.Offered = now
			s.say("it is offered to %s until %s", s.member(w.Member).name, s.clock(*now.OfferUntil))
			return nil
		}
	}
	return fmt.Errorf("the place that came free is offered to nobody of %d who wait", len(s.told.After.Waits))
}

func (s *story) accept(ctx context.Context) error {
	w := s.told.After.Offered
	member := s.member(w.Member)
	at := s.in("waiting-list", w.ID)
	etag, err := member.get(ctx, at, nil)
	if err != nil {
		return err
	}
	if _, err := member.call(ctx, http.MethodPost, at+"/acceptance", etag, nil, &s.told.After.Accepted); err != nil {
		return err
	}
	s.say("%s accepts", member.name)
	return nil
}

// hold holds a place that will not be confirmed.
func (s *story) hold(ctx context.Context) error {
	l := s.after.Lapse
	b, err := s.bookNow(ctx, l.Session, l.Roll, true)
	if err != nil {
		return err
	}
	s.told.After.Lapsed = b
	s.say("%s holds %s in %s until %s", s.people[l.Roll.Of].name, count(len(b.Rolls), "place", "places"), l.Session, s.clock(*b.HeldUntil))
	return nil
}

// lookAtHold finds that a hold has lapsed.
func (s *story) lookAtHold(ctx context.Context) error {
	b := &s.told.After.Lapsed
	if _, err := s.people[s.after.Lapse.Roll.Of].get(ctx, s.in("bookings", b.ID), b); err != nil {
		return err
	}
	if b.Status != scheduling.Lapsed {
		return fmt.Errorf("a hold that was not confirmed is %s", b.Status)
	}
	s.say("it is not confirmed, and lapses")
	return nil
}

// planAfter plans the week and asks what one change of the lab's means each would gain.
func (s *story) planAfter(ctx context.Context) (err error) {
	s.told.After.Plan, _, err = s.makePlan(ctx, s.cal.week(1), 1)
	if err != nil {
		return err
	}
	_, err = s.people[stewardKey].get(ctx, s.in("plans", s.told.After.Plan.ID, "gains"), &s.told.After.Gains)
	var better []string
	for _, g := range s.told.After.Gains.Gains {
		if g.Better {
			better = append(better, g.Change)
		}
	}
	s.say("it would gain by %s", strings.Join(better, ", "))
	return err
}
