package api_test

import (
	"net/http"
	"slices"
	"strings"
	"testing"

	"wetside/lab/telling"
	"wetside/scheduling"
	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

// repaired holds the plan made when a tank broke down against what stood
// before: what it took apart runs elsewhere, and nothing else has moved.
func (s *story) repaired(t *testing.T) {
	p := s.Repair
	apart := map[string]string{} // session by roll
	runs := map[string]scheduling.BatchStatus{}
	for _, b := range list[scheduling.Batch](t, s.steward, "batches") {
		runs[b.ID] = b.Status
		if slices.Contains(p.Replaces, b.ID) {
			for _, pl := range b.Rolls {
				apart[pl.Roll] = b.Session
			}
		}
	}
	if len(apart) == 0 || len(p.Moved) != len(apart) {
		t.Errorf("%d rolls were in batches that the breakdown stopped, %d moved", len(apart), len(p.Moved))
	}
	for _, m := range p.Moved {
		if m.From == nil || m.To == nil || m.From.Session != apart[m.Roll] || m.To.Session == m.From.Session {
			t.Errorf("a roll of session %s moved as %+v", apart[m.Roll], m)
		}
	}
	for _, id := range p.Replaces {
		if runs[id] != scheduling.BatchCancelled {
			t.Errorf("batch %s is %s, on a tank out of order", id, runs[id])
		}
	}
}

// bookedAhead looks at what came of the week after: an exception in the
// calendar, what was available, a place waited for, a hold that lapsed, a
// session that its booker runs, and somebody new.
func (s *story) bookedAhead(t *testing.T) {
	a := s.After
	var made, off []string
	for _, step := range a.Calendar {
		for _, e := range step.Change.Sessions {
			made = append(made, e.Start.In(s.Monday.Location()).Format("Mon 15:04"))
		}
		for _, e := range step.Change.CalledOff {
			off = append(off, e.Start.In(s.Monday.Location()).Format("Mon 15:04"))
		}
	}
	if want := []string{"Sun 11:00", "Fri 18:00"}; !slices.Equal(made, want) {
		t.Errorf("the calendar makes %v, want %v", made, want)
	}
	if want := []string{"Thu 18:00", "Thu 18:30"}; !slices.Equal(off, want) {
		t.Errorf("the calendar calls off %v, want %v", off, want)
	}

	// Two spirals, dry three hours after a run, take a third load in no evening: the long Sunday is the first.
	first := a.Asked.Offers[0]
	if first.Session.Start.In(s.Monday.Location()).Format("Mon 15:04") != "Sun 11:00" || a.Booked.Session != first.Session.ID ||
		a.Booked.Status != scheduling.Confirmed || len(a.Booked.Rolls) != 5 || len(first.Costs) == 0 || first.DryBy.Before(first.DryAt) {
		t.Errorf("what was offered first is %+v, what was booked %+v", first, a.Booked)
	}

	if *a.Waits[0].Position != 1 || *a.Waits[1].Position != 2 || len(a.Waits[0].Rolls) != 2 {
		t.Errorf("the waiting list is %+v", a.Waits)
	}
	if a.Offered.ID != a.Waits[1].ID || a.Accepted.Status != scheduling.Accepted {
		t.Errorf("one place is offered to %+v, and then %+v: want the second, who needs one", a.Offered, a.Accepted)
	}
	if a.Lapsed.Status != scheduling.Lapsed || a.Lapsed.ConfirmedAt != nil {
		t.Errorf("the hold is %+v", a.Lapsed)
	}
	if no := s.refusal(t, "not-certified"); no.Problem.Status != http.StatusConflict || a.Alone.Operator != s.People["mateus"] || a.Alone.Kind != scheduling.SelfService {
		t.Errorf("a member without a certificate is answered %d, with one the session is %+v", no.Problem.Status, a.Alone)
	}
	if a.Joined.Member != s.People["caoimhe"] || a.Joined.Status != scheduling.Confirmed {
		t.Errorf("who joined booked %+v", a.Joined)
	}
	s.refusal(t, "unauthenticated")

	heard := map[telling.Kind]bool{}
	for _, m := range a.Heard {
		heard[m.Kind] = true
	}
	if !heard[telling.PlaceOffered] || !heard[telling.BookingConfirmed] {
		t.Errorf("who waited was told %+v", a.Heard)
	}
	if !strings.Contains(a.Feed, "UID:"+*a.Accepted.Booking+"@wetside") {
		t.Errorf("booking %s is not in the calendar\n%s", *a.Accepted.Booking, a.Feed)
	}
}

// proved holds the plan that broke down, and its repair, against their proofs;
// the plan of the week after against the checker; and its gains against what
// they are said to be.
func (s *story) proved(t *testing.T) {
	before := slices.IndexFunc(s.Plans, func(p scheduling.Plan) bool { return p.ID == s.Repair.ID }) - 1
	for _, p := range []scheduling.Plan{s.Plans[before], s.Repair} {
		for _, level := range p.Levels {
			if !level.Proved() {
				t.Errorf("%s is %d, and proved no less than %d", level.Name, level.Value, level.Bound)
			}
		}
	}
	for _, p := range s.Plans {
		for _, v := range checker.Check(p.Problem, &p.Plan) {
			t.Error(v)
		}
		for _, b := range p.Batches {
			if b.Why == "" {
				t.Errorf("batch %+v does not say why", b)
			}
		}
	}
	reel, less := false, func(l planner.LevelChange) bool { return l.After < l.Before }
	for _, g := range s.After.Gains.Gains {
		if reel = reel || g.Better && g.Of == "spiral-8"; g.Better && !slices.ContainsFunc(g.Levels, less) {
			t.Errorf("%s is said to be better: %+v", g.Change, g.Levels)
		}
	}
	if !reel || !s.After.Gains.Complete {
		t.Errorf("a third spiral for small-gauge film gains nothing: %+v", s.After.Gains)
	}
}
