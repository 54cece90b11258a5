package scheduling_test

import (
	"context"
	"slices"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/units"
	"wetside/scheduling"
	"wetside/scheduling/planner"
)

// changing is a use case that changes one booking at a version.
type changing = func(context.Context, pgx.Tx, lab.Scope, string, int64) (scheduling.Booking, error)

// change runs one for the booking as it was read.
func (b *bench) change(s lab.Scope, f changing, of scheduling.Booking) (out scheduling.Booking, err error) {
	b.t.Helper()
	err = b.in(func(ctx context.Context, tx pgx.Tx) (err error) {
		out, err = f(ctx, tx, s, of.ID, of.Version)
		return err
	})
	return out, err
}

// turned is a use case that changes a booking's session, rolls, or both.
func turned(session *string, rolls *[]string) changing {
	return func(ctx context.Context, tx pgx.Tx, s lab.Scope, id string, version int64) (scheduling.Booking, error) {
		return scheduling.ChangeBooking(ctx, tx, s, id, version, scheduling.BookingChange{Session: session, Rolls: rolls})
	}
}

// now reads a booking.
func (b *bench) now(s lab.Scope, of scheduling.Booking) (out scheduling.Booking) {
	b.t.Helper()
	b.do(func(ctx context.Context, tx pgx.Tx) (err error) {
		out, err = scheduling.FindBooking(ctx, tx, s, of.ID)
		return err
	})
	return out
}

// rule changes the lab's booking rules.
func (b *bench) rule(in scheduling.BookingRulesChange) (rules scheduling.BookingRules) {
	b.t.Helper()
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		was, err := scheduling.ReadBookingRules(ctx, tx, b.steward.Lab.ID)
		if err != nil {
			return err
		}
		rules, err = scheduling.ChangeBookingRules(ctx, tx, b.steward, was.Version, in)
		return err
	})
	return rules
}

func (b *bench) standing(s lab.Scope) (r scheduling.BookingRecord) {
	b.t.Helper()
	b.do(func(ctx context.Context, tx pgx.Tx) (err error) {
		r, err = scheduling.FindBookingRecord(ctx, tx, s, b.ana.By.ID)
		return err
	})
	return r
}

func held(session string, rolls ...string) scheduling.NewBooking {
	return scheduling.NewBooking{Session: session, Rolls: rolls, Hold: true}
}

func booked(session string, rolls ...string) scheduling.NewBooking {
	return scheduling.NewBooking{Session: session, Rolls: rolls}
}

func TestHoldsHoldUntilTheyAreOver(t *testing.T) {
	b := newBench(t)
	ids := b.rolls(b.ana, 4, "cine-8-15m", "reversal-3")
	session := b.sessions[1].ID
	hold := must(b, b.ana, scheduling.Book, held(session, ids[:2]...))
	until := monday.Add(15 * time.Minute)
	if hold.Status != scheduling.Held || !hold.HeldUntil.Equal(until) {
		t.Errorf("held: %+v, want until %s", hold, until)
	}
	_, err := call(b, b.ana, scheduling.Book, booked(session, ids[2:]...))
	b.refused("does-not-fit", err)
	b.at(until.Add(-time.Microsecond))
	if got := b.now(b.ana, hold); got.Status != scheduling.Held || b.find(b.ana, ids[0]).Status != scheduling.Booked {
		t.Errorf("a moment before its end the hold is %s", got.Status)
	}
	// Nothing runs at that instant: the time alone ends the hold.
	b.at(until)
	if got := b.now(b.ana, hold); got.Status != scheduling.Lapsed || b.find(b.ana, ids[0]).Status != scheduling.OnShelf {
		t.Errorf("at its end the hold is %s", got.Status)
	}
	_, err = b.change(b.ana, scheduling.ConfirmBooking, hold)
	b.refused("hold-lapsed", err)
	must(b, b.ana, scheduling.Book, booked(session, ids[2:]...))
	// Should a clock go back now, the place that another has is not held again.
	b.at(monday)
	if got := b.now(b.ana, hold); got.Status != scheduling.Lapsed {
		t.Errorf("with the clock turned back the hold is %s", got.Status)
	}
	_, err = b.change(b.ana, scheduling.ConfirmBooking, hold)
	b.refused("hold-lapsed", err)
	must(b, b.ana, scheduling.Book, booked(b.sessions[2].ID, ids[:2]...))
}

func TestHoldsAreConfirmedOnce(t *testing.T) {
	b := newBench(t)
	hold := must(b, b.ana, scheduling.Book, held(b.sessions[0].ID, b.rolls(b.ana, 1, "135-36", "reversal-3")...))
	good, err := b.change(b.ana, scheduling.ConfirmBooking, hold)
	if err != nil || good.Status != scheduling.Confirmed || good.HeldUntil != nil || !good.ConfirmedAt.Equal(monday) {
		t.Fatalf("confirmed: %+v, %v", good, err)
	}
	_, err = b.change(b.ana, scheduling.ConfirmBooking, hold)
	b.refused("stale", err)
	again, err := b.change(b.ana, scheduling.ConfirmBooking, good)
	if err != nil || again.Version != good.Version {
		t.Errorf("confirmed again: %+v, %v", again, err)
	}
	b.at(monday.Add(time.Hour))
	if got := b.now(b.ana, good); got.Status != scheduling.Confirmed {
		t.Errorf("an hour later it is %s", got.Status)
	}
	_, err = b.change(b.bo, scheduling.ConfirmBooking, good)
	b.refused("not-found", err)
}

func TestAHoldEndsWithItsSessionAtTheLatest(t *testing.T) {
	b := newBench(t)
	week := 7 * units.Day
	b.rule(scheduling.BookingRulesChange{Hold: &week})
	hold := must(b, b.ana, scheduling.Book, held(b.sessions[1].ID, b.rolls(b.ana, 1, "135-36", "reversal-3")...))
	if !hold.HeldUntil.Equal(b.sessions[1].End) {
		t.Errorf("held until %s", hold.HeldUntil)
	}
	moved, err := b.change(b.ana, turned(&b.sessions[0].ID, nil), hold)
	if err != nil || moved.Status != scheduling.Held || !moved.HeldUntil.Equal(b.sessions[0].End) {
		t.Errorf("moved: %+v, %v", moved, err)
	}
}

func TestMovingIsAllOrNothing(t *testing.T) {
	b := newBench(t)
	ids := b.rolls(b.ana, 5, "cine-8-15m", "reversal-3")
	first, second := b.sessions[1], b.sessions[2]
	mine := must(b, b.ana, scheduling.Book, booked(first.ID, ids[0]))
	full := must(b, b.ana, scheduling.Book, booked(second.ID, ids[1], ids[2]))
	_, err := b.change(b.ana, turned(&second.ID, nil), mine)
	r := b.refused("does-not-fit", err)
	if r.Faults[0].Pointer != "/rolls/0" || r.Faults[0].Code != planner.ReasonReels {
		t.Errorf("moving to a full session: %v", r.Faults)
	}
	if got := b.now(b.ana, mine); got.Session != first.ID || got.Version != mine.Version || !slices.Equal(got.Rolls, mine.Rolls) {
		t.Errorf("after the refusal the booking is %+v", got)
	}
	// Its own place does not stand in the way of a booking's change.
	swapped, err := b.change(b.ana, turned(nil, &[]string{ids[1], ids[3]}), full)
	if err != nil || !slices.Equal(swapped.Rolls, []string{ids[1], ids[3]}) {
		t.Fatalf("swapped: %+v, %v", swapped, err)
	}
	if got := b.find(b.ana, ids[2]); got.Status != scheduling.OnShelf {
		t.Errorf("the roll taken out is %s", got.Status)
	}
	_, err = b.change(b.ana, turned(nil, &[]string{ids[1], ids[0]}), swapped)
	b.refused("roll-already-booked", err)
	one, err := b.change(b.ana, turned(nil, &[]string{ids[1]}), swapped)
	if err != nil {
		t.Fatal(err)
	}
	moved, err := b.change(b.ana, turned(&second.ID, nil), mine)
	if err != nil || moved.Session != second.ID || moved.ID != mine.ID {
		t.Fatalf("moved: %+v, %v", moved, err)
	}
	if both, err := b.change(b.ana, turned(&first.ID, &[]string{ids[2], ids[4]}), one); err != nil || both.Session != first.ID {
		t.Errorf("moved with other rolls: %+v, %v", both, err)
	}
}

func TestRefusedChangesNameTheirProblem(t *testing.T) {
	b := newBench(t)
	ids := b.rolls(b.ana, 3, "135-36", "reversal-3")
	other := b.roll(b.bo, "135-36", "reversal-3").ID
	mine := must(b, b.ana, scheduling.Book, booked(b.sessions[1].ID, ids[0]))
	none := "session_none"
	for _, c := range []struct {
		by   lab.Scope
		f    changing
		code string
	}{
		{b.ana, turned(&none, nil), "not-found"},
		{b.ana, turned(nil, &[]string{other}), "not-found"},
		{b.steward, turned(nil, &[]string{other}), "invalid"},
		{b.ana, turned(nil, &[]string{ids[1], ids[1]}), "roll-twice"},
		{b.ana, turned(nil, &[]string{}), "invalid"},
		{b.bo, turned(nil, &[]string{other}), "not-found"},
		{b.steward, scheduling.RecordNoShow, "session-not-begun"},
	} {
		_, err := b.change(c.by, c.f, mine)
		b.refused(c.code, err)
	}
	if got := b.now(b.ana, mine); got.Version != mine.Version || len(got.Rolls) != 1 {
		t.Errorf("after all refusals the booking is %+v", got)
	}
	b.at(b.sessions[0].End)
	_, err := b.change(b.ana, turned(&b.sessions[0].ID, nil), mine)
	b.refused("session-over", err)
	many := make([]string, 10_000)
	for i := range many {
		many[i] = ids[0]
	}
	_, err = call(b, b.ana, scheduling.Book, booked(b.sessions[1].ID, many...))
	b.refused("too-many-in-booking", err)
}

func TestLateChangesAreStrikes(t *testing.T) {
	b := newBench(t)
	ids := b.rolls(b.ana, 4, "135-36", "reversal-3")
	session := b.sessions[2]
	first := must(b, b.ana, scheduling.Book, booked(session.ID, ids[:2]...))
	hold := must(b, b.ana, scheduling.Book, held(session.ID, ids[2]))
	b.at(session.Start.Add(-24 * time.Hour))
	early, err := b.change(b.ana, turned(nil, &[]string{ids[0], ids[1], ids[3]}), first)
	if err != nil || len(b.standing(b.ana).Strikes) != 0 {
		t.Fatalf("a day before: %+v, %v, %+v", early, err, b.standing(b.ana))
	}
	b.at(session.Start.Add(-24*time.Hour + time.Second))
	_, err = b.change(b.ana, scheduling.CancelBooking, hold)
	b.refused("hold-lapsed", err)
	fewer, err := b.change(b.ana, turned(nil, &[]string{ids[0], ids[1]}), early)
	if err != nil {
		t.Fatal(err)
	}
	// More rolls, or a hold given back, cost nobody anything.
	more, err := b.change(b.ana, turned(nil, &[]string{ids[0], ids[1], ids[3]}), fewer)
	if err != nil {
		t.Fatal(err)
	}
	if again := must(b, b.ana, scheduling.Book, held(session.ID, ids[2])); again.Status != scheduling.Held {
		t.Errorf("held again: %+v", again)
	} else if _, err := b.change(b.ana, scheduling.CancelBooking, again); err != nil {
		t.Error(err)
	}
	gone, err := b.change(b.ana, scheduling.CancelBooking, more)
	if err != nil || !gone.Late || gone.Status != scheduling.Cancelled {
		t.Errorf("cancelled late: %+v, %v", gone, err)
	}
	kinds := []scheduling.StrikeKind{}
	for _, s := range b.standing(b.ana).Strikes {
		kinds = append(kinds, s.Kind)
	}
	if !slices.Equal(kinds, []scheduling.StrikeKind{scheduling.LateChange, scheduling.LateCancel}) {
		t.Errorf("strikes %v", kinds)
	}
	// The steward's doing is nobody's strike.
	theirs := must(b, b.ana, scheduling.Book, booked(session.ID, ids[0]))
	if got, err := b.change(b.steward, scheduling.CancelBooking, theirs); err != nil || got.Late || len(b.standing(b.ana).Strikes) != 2 {
		t.Errorf("cancelled by the steward: %+v, %v", got, err)
	}
}

func TestStrikesKeepAMemberFromBooking(t *testing.T) {
	b := newBench(t)
	two, month := int64(2), 30*units.Day
	b.rule(scheduling.BookingRulesChange{Strikes: units.Optional[int64]{Given: true, To: &two}, StrikesCount: &month})
	ids := b.rolls(b.ana, 3, "135-36", "reversal-3")
	session := b.sessions[0]
	missed := must(b, b.ana, scheduling.Book, booked(session.ID, ids[0]))
	unsure := must(b, b.ana, scheduling.Book, booked(session.ID, ids[1]))
	b.at(session.Start.Add(time.Hour))
	if got, err := b.change(b.steward, scheduling.RecordNoShow, missed); err != nil || got.Status != scheduling.Missed {
		t.Fatalf("no-show: %+v, %v", got, err)
	}
	_, err := b.change(b.steward, scheduling.RecordNoShow, missed)
	b.refused("stale", err)
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		got := b.standing(b.ana)
		if len(got.Strikes) != 1 || got.SuspendedUntil != nil {
			t.Errorf("after one: %+v", got)
		}
		return nil
	})
	if _, err := b.change(b.ana, scheduling.CancelBooking, unsure); err != nil {
		t.Fatal(err)
	}
	until := session.Start.Add(time.Hour + month.Std())
	if got := b.standing(b.ana); got.SuspendedUntil == nil || !got.SuspendedUntil.Equal(until) {
		t.Errorf("after two: %+v, want until %s", got, until)
	}
	_, err = call(b, b.ana, scheduling.Book, booked(b.sessions[1].ID, ids[0]))
	b.refused("booking-suspended", err)
	for_ := must(b, b.steward, scheduling.Book, booked(b.sessions[1].ID, ids[0]))
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		return scheduling.RemoveStrike(ctx, tx, b.steward, b.standing(b.steward).Strikes[0].ID)
	})
	if _, err := b.change(b.ana, turned(nil, &[]string{ids[0], ids[1]}), for_); err != nil {
		t.Errorf("with one strike left: %v", err)
	}
}

func TestQuotasGoByTheLabsWeeks(t *testing.T) {
	b := newBench(t)
	two := int64(2)
	b.rule(scheduling.BookingRulesChange{RollsAWeek: units.Optional[int64]{Given: true, To: &two}})
	ids := b.rolls(b.ana, 5, "135-36", "reversal-3")
	zone := b.steward.Lab.Location()
	sunday := monday.In(zone)
	for sunday.Weekday() != time.Sunday {
		sunday = sunday.AddDate(0, 0, 1)
	}
	// By the lab's clock one begins on Sunday night and the other on Monday.
	late := b.session(time.Date(sunday.Year(), sunday.Month(), sunday.Day(), 20, 0, 0, 0, zone), 4*time.Hour)
	next := b.session(time.Date(sunday.Year(), sunday.Month(), sunday.Day()+1, 0, 0, 0, 0, zone), 4*time.Hour)
	must(b, b.ana, scheduling.Book, booked(b.sessions[0].ID, ids[0]))
	hold := must(b, b.ana, scheduling.Book, held(late.ID, ids[1]))
	_, err := call(b, b.ana, scheduling.Book, booked(b.sessions[1].ID, ids[2]))
	b.refused("quota-exceeded", err)
	must(b, b.ana, scheduling.Book, booked(next.ID, ids[2], ids[3]))
	_, err = call(b, b.ana, scheduling.Book, booked(next.ID, ids[4]))
	b.refused("quota-exceeded", err)
	_, err = b.change(b.ana, turned(&next.ID, nil), hold)
	b.refused("quota-exceeded", err)
	if moved, err := b.change(b.ana, turned(&b.sessions[1].ID, nil), hold); err != nil {
		t.Errorf("moved within its week: %+v, %v", moved, err)
	}
	b.at(*hold.HeldUntil)
	must(b, b.ana, scheduling.Book, booked(b.sessions[1].ID, ids[4]))
	must(b, b.steward, scheduling.Book, booked(b.sessions[1].ID, ids[1]))
}

func TestBookingRulesHaveBounds(t *testing.T) {
	b := newBench(t)
	zero, none := units.Duration(0), int64(0)
	err := b.in(func(ctx context.Context, tx pgx.Tx) error {
		_, err := scheduling.ChangeBookingRules(ctx, tx, b.steward, 1, scheduling.BookingRulesChange{
			Hold: &zero, RollsAWeek: units.Optional[int64]{Given: true, To: &none}})
		return err
	})
	if r := b.refused("invalid", err); len(r.Faults) != 2 {
		t.Errorf("faults %v", r.Faults)
	}
	if rules := b.rule(scheduling.BookingRulesChange{CutOff: &zero}); rules.CutOff != 0 || rules.Hold != 15*units.Minute || rules.Version != 2 {
		t.Errorf("rules %+v", rules)
	}
	err = b.in(func(ctx context.Context, tx pgx.Tx) error {
		_, err := scheduling.ChangeBookingRules(ctx, tx, b.steward, 1, scheduling.BookingRulesChange{CutOff: &zero})
		return err
	})
	b.refused("stale", err)
}
