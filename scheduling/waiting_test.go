package scheduling_test

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/units"
	"wetside/scheduling"
)

// waiting is a bench whose first session is full: its two small-gauge reels are
// Ana's.
type waiting struct {
	*bench
	full    scheduling.Session
	holders scheduling.Booking
}

func newWaiting(t *testing.T) waiting {
	b := newBench(t)
	w := waiting{bench: b, full: b.sessions[1]}
	w.holders = must(b, b.ana, scheduling.Book, booked(w.full.ID, b.rolls(b.ana, 2, "cine-8-15m", "reversal-3")...))
	return w
}

func (w waiting) wait(s lab.Scope, session string, rolls ...string) scheduling.Waiting {
	w.t.Helper()
	return must(w.bench, s, scheduling.Wait, scheduling.NewWaiting{Session: &session, Rolls: rolls})
}

func (w waiting) entry(s lab.Scope, of scheduling.Waiting) (out scheduling.Waiting) {
	w.t.Helper()
	w.do(func(ctx context.Context, tx pgx.Tx) (err error) {
		out, err = scheduling.FindWaiting(ctx, tx, s, of.ID)
		return err
	})
	return out
}

type answering = func(context.Context, pgx.Tx, lab.Scope, string, int64) (scheduling.Waiting, error)

func (w waiting) answer(s lab.Scope, f answering, of scheduling.Waiting) (out scheduling.Waiting, err error) {
	w.t.Helper()
	now := w.entry(s, of)
	err = w.in(func(ctx context.Context, tx pgx.Tx) (err error) {
		out, err = f(ctx, tx, s, now.ID, now.Version)
		return err
	})
	return out, err
}

// look is what the job at a hold's end does.
func (w waiting) look() {
	w.t.Helper()
	w.do(func(ctx context.Context, tx pgx.Tx) error {
		s := w.steward
		s.By = lab.Member{}
		return scheduling.Works()[0].Do(ctx, tx, s, nil)
	})
}

// want holds entries' statuses against those wanted, in order.
func (w waiting) want(statuses string, entries ...scheduling.Waiting) {
	w.t.Helper()
	var got []string
	for _, e := range entries {
		got = append(got, string(w.entry(w.steward, e).Status))
	}
	if s := strings.Join(got, " "); s != statuses {
		w.t.Errorf("the entries are %s, want %s", s, statuses)
	}
}

func TestWhoWaitsIsOfferedInOrder(t *testing.T) {
	w := newWaiting(t)
	first := w.wait(w.bo, w.full.ID, w.roll(w.bo, "cine-8-15m", "reversal-3").ID)
	second := w.wait(w.ana, w.full.ID, w.roll(w.ana, "cine-8-15m", "reversal-3").ID)
	third := w.wait(w.bo, w.full.ID, w.rolls(w.bo, 2, "cine-8-15m", "reversal-3")...)
	for i, e := range []scheduling.Waiting{first, second, third} {
		if got := w.entry(w.steward, e); got.Status != scheduling.Waits || *got.Position != int64(i+1) {
			t.Errorf("entry %d is %s at %d", i+1, got.Status, *got.Position)
		}
	}
	if _, err := w.change(w.ana, scheduling.CancelBooking, w.holders); err != nil {
		t.Fatal(err)
	}
	w.want("offered offered waiting", first, second, third)
	offer := w.entry(w.bo, first)
	if until := monday.Add(12 * time.Hour); !offer.OfferUntil.Equal(until) || offer.Position != nil {
		t.Errorf("offered: %+v, want until %s", offer, until)
	}
	if got := w.entry(w.steward, third); *got.Position != 1 {
		t.Errorf("who is left waits at %d", *got.Position)
	}
	// The place is held: nobody else gets it, neither by booking nor by the list.
	_, err := call(w.bench, w.ana, scheduling.Book, booked(w.full.ID, w.roll(w.ana, "cine-8-15m", "reversal-3").ID))
	w.refused("does-not-fit", err)
	taken, err := w.answer(w.bo, scheduling.AcceptOffer, first)
	if err != nil || taken.Status != scheduling.Accepted || taken.EndedAt == nil {
		t.Fatalf("accepted: %+v, %v", taken, err)
	}
	var b scheduling.Booking
	w.do(func(ctx context.Context, tx pgx.Tx) (err error) {
		b, err = scheduling.FindBooking(ctx, tx, w.bo, *taken.Booking)
		return err
	})
	if b.Status != scheduling.Confirmed || !b.Offered || b.Session != w.full.ID {
		t.Errorf("what was accepted: %+v", b)
	}
	_, err = w.answer(w.bo, scheduling.AcceptOffer, first)
	w.refused("no-offer", err)
	_, err = w.answer(w.bo, scheduling.AcceptOffer, third)
	w.refused("no-offer", err)
	_, err = w.answer(w.ana, scheduling.DeclineOffer, second)
	if err != nil {
		t.Fatal(err)
	}
	w.want("accepted declined waiting", first, second, third) // two rolls do not fit on one reel
}

func TestAPlaceGoesToTheFirstWhomItFits(t *testing.T) {
	w := newWaiting(t)
	two := w.wait(w.bo, w.full.ID, w.rolls(w.bo, 2, "cine-8-15m", "reversal-3")...)
	one := w.wait(w.bo, w.full.ID, w.roll(w.bo, "cine-8-15m", "reversal-3").ID)
	if _, err := w.change(w.ana, turned(nil, &[]string{w.holders.Rolls[0]}), w.holders); err != nil {
		t.Fatal(err)
	}
	w.want("waiting offered", two, one)
	if got := w.entry(w.bo, two); *got.Position != 1 {
		t.Errorf("who was passed over waits at %d", *got.Position)
	}
	if _, err := w.answer(w.bo, scheduling.DeclineOffer, one); err != nil {
		t.Fatal(err)
	}
	left := w.holders
	left.Version = w.now(w.ana, w.holders).Version
	if _, err := w.change(w.ana, scheduling.CancelBooking, left); err != nil {
		t.Fatal(err)
	}
	w.want("offered declined", two, one)
}

func TestOffersThatLapseGoToTheNext(t *testing.T) {
	w := newWaiting(t)
	hour := units.Hour
	w.rule(scheduling.BookingRulesChange{Offer: &hour})
	roll := w.roll(w.bo, "cine-8-15m", "reversal-3").ID
	first := w.wait(w.bo, w.full.ID, roll)
	second := w.wait(w.ana, w.full.ID, w.rolls(w.ana, 2, "cine-8-15m", "reversal-3")...)
	if _, err := w.change(w.ana, scheduling.CancelBooking, w.holders); err != nil {
		t.Fatal(err)
	}
	w.want("offered waiting", first, second)
	w.at(monday.Add(time.Hour))
	w.want("lapsed waiting", first, second) // by the time alone
	_, err := w.answer(w.bo, scheduling.AcceptOffer, first)
	w.refused("no-offer", err)
	w.look()
	w.want("lapsed offered", first, second)
	w.look()
	w.want("lapsed offered", first, second)
	// Without any job, too: whoever comes next has the list gone through first.
	again := w.wait(w.bo, w.full.ID, roll)
	w.at(monday.Add(2 * time.Hour))
	_, err = call(w.bench, w.ana, scheduling.Book, booked(w.full.ID, w.rolls(w.ana, 2, "cine-8-15m", "reversal-3")...))
	w.refused("does-not-fit", err)
	must(w.bench, w.ana, scheduling.Book, booked(w.sessions[2].ID, w.roll(w.ana, "135-36", "reversal-3").ID))
	w.want("lapsed lapsed offered", first, second, again)
}

func TestASpanWaitsForAnySession(t *testing.T) {
	w := newWaiting(t)
	other := w.sessions[2]
	must(w.bench, w.steward, scheduling.Book, booked(other.ID, w.rolls(w.ana, 2, "cine-8-15m", "reversal-3")...))
	from, until := w.full.Start, other.Start.Add(time.Minute)
	span := must(w.bench, w.bo, scheduling.Wait, scheduling.NewWaiting{From: &from, Until: &until,
		Rolls: []string{w.roll(w.bo, "cine-8-15m", "reversal-3").ID}})
	later := w.wait(w.bo, w.full.ID, w.roll(w.bo, "cine-8-15m", "reversal-3").ID)
	if got := w.entry(w.bo, later); *got.Position != 2 {
		t.Errorf("behind the span the entry is at %d", *got.Position)
	}
	if _, err := w.change(w.ana, turned(nil, &[]string{w.holders.Rolls[0]}), w.holders); err != nil {
		t.Fatal(err)
	}
	w.want("offered waiting", span, later)
	declined, err := w.answer(w.bo, scheduling.DeclineOffer, span)
	if err != nil || declined.Status != scheduling.Waits || !slices.Equal(declined.Passed, []string{w.full.ID}) {
		t.Fatalf("declined: %+v, %v", declined, err)
	}
	w.want("waiting offered", span, later)
	// A session that the steward adds is offered as soon as it is there.
	added := w.session(w.full.Start.AddDate(0, 0, 1), 4*time.Hour)
	offered := w.entry(w.bo, span)
	if w.want("offered offered", span, later); !slices.Contains(offered.Passed, w.full.ID) {
		t.Errorf("passed: %v", offered.Passed)
	}
	w.do(func(ctx context.Context, tx pgx.Tx) error {
		b, err := scheduling.FindBooking(ctx, tx, w.bo, *offered.Booking)
		if err == nil && b.Session != added.ID {
			t.Errorf("offered in %s, want the new session", b.Session)
		}
		return err
	})
	// Leaving gives the place to whoever is next, for whom there was a reel but no bath.
	next := w.wait(w.ana, added.ID, w.roll(w.ana, "cine-8-15m", "reversal-3").ID)
	w.want("waiting", next)
	w.do(func(ctx context.Context, tx pgx.Tx) error {
		return scheduling.LeaveList(ctx, tx, w.bo, span.ID, offered.Version)
	})
	w.want("left offered", span, next)
	err = w.in(func(ctx context.Context, tx pgx.Tx) error {
		return scheduling.LeaveList(ctx, tx, w.bo, span.ID, w.entry(w.bo, span).Version)
	})
	w.refused("waiting-ended", err)
}

func TestWaitingIsOverWhenThereIsNothingToGet(t *testing.T) {
	w := newWaiting(t)
	rolls := w.rolls(w.bo, 2, "cine-8-15m", "reversal-3")
	gone := w.wait(w.bo, w.full.ID, rolls[0])
	found := w.wait(w.bo, w.full.ID, rolls[1])
	w.do(func(ctx context.Context, tx pgx.Tx) error {
		return scheduling.WithdrawRoll(ctx, tx, w.bo, rolls[0], w.find(w.bo, rolls[0]).Version)
	})
	elsewhere := must(w.bench, w.bo, scheduling.Book, booked(w.sessions[2].ID, rolls[1]))
	w.want("over waiting", gone, found)
	if _, err := w.change(w.ana, scheduling.CancelBooking, w.holders); err != nil {
		t.Fatal(err)
	}
	w.want("over waiting", gone, found) // it has a place for now
	if _, err := w.change(w.bo, scheduling.CancelBooking, elsewhere); err != nil {
		t.Fatal(err)
	}
	w.want("over offered", gone, found)
	w.at(w.full.End)
	w.look()
	w.want("over lapsed", gone, found)
}

func TestWaitingRefusals(t *testing.T) {
	w := newWaiting(t)
	mine := w.roll(w.bo, "cine-8-15m", "reversal-3").ID
	earlier := monday.Add(-time.Hour)
	for name, c := range map[string]struct {
		in   scheduling.NewWaiting
		code string
	}{
		"nothing wished for": {scheduling.NewWaiting{Rolls: []string{mine}}, "invalid"},
		"both":               {scheduling.NewWaiting{Session: &w.full.ID, From: &monday, Until: &w.full.End, Rolls: []string{mine}}, "invalid"},
		"no end":             {scheduling.NewWaiting{From: &monday, Rolls: []string{mine}}, "invalid"},
		"backwards":          {scheduling.NewWaiting{From: &w.full.End, Until: &w.full.Start, Rolls: []string{mine}}, "invalid"},
		"over":               {scheduling.NewWaiting{From: &earlier, Until: &monday, Rolls: []string{mine}}, "invalid"},
		"booked":             {scheduling.NewWaiting{Session: &w.full.ID, Rolls: w.holders.Rolls}, "not-found"},
		"no rolls":           {scheduling.NewWaiting{Session: &w.full.ID}, "invalid"},
	} {
		_, err := call(w.bench, w.bo, scheduling.Wait, c.in)
		t.Log(name)
		w.refused(c.code, err)
	}
	entry := w.wait(w.bo, w.full.ID, mine)
	_, err := call(w.bench, w.bo, scheduling.Wait, scheduling.NewWaiting{Session: &w.full.ID, Rolls: []string{mine}})
	w.refused("roll-already-waiting", err)
	err = w.in(func(ctx context.Context, tx pgx.Tx) error {
		_, err := scheduling.FindWaiting(ctx, tx, w.ana, entry.ID)
		return err
	})
	w.refused("not-found", err)
	// What is offered is not changed before it is accepted.
	if _, err := w.change(w.ana, scheduling.CancelBooking, w.holders); err != nil {
		t.Fatal(err)
	}
	offer := w.entry(w.bo, entry)
	_, err = w.change(w.bo, turned(&w.sessions[2].ID, nil), scheduling.Booking{ID: *offer.Booking, Version: 1})
	w.refused("offer-open", err)
	// Accepting may also go by the booking.
	if _, err := w.change(w.bo, scheduling.ConfirmBooking, scheduling.Booking{ID: *offer.Booking, Version: 1}); err != nil {
		t.Fatal(err)
	}
	w.want("accepted", entry)
}

func TestMembersAreToldOfTheirBookings(t *testing.T) {
	w := newWaiting(t)
	entry := w.wait(w.bo, w.full.ID, w.roll(w.bo, "cine-8-15m", "reversal-3").ID)
	moved, err := w.change(w.ana, turned(&w.sessions[2].ID, nil), w.holders)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.change(w.ana, scheduling.CancelBooking, moved); err != nil {
		t.Fatal(err)
	}
	w.at(*w.entry(w.bo, entry).OfferUntil)
	w.look()
	for who, want := range map[string]string{
		w.ana.By.ID: "booking-confirmed booking-moved booking-cancelled",
		w.bo.By.ID:  "place-offered offer-lapsed",
	} {
		var got string
		err := w.pool.QueryRow(t.Context(), `SELECT string_agg(kind, ' ' ORDER BY sent_at, id) FROM messages WHERE member_id = $1`, who).Scan(&got)
		if err != nil || got != want {
			t.Errorf("told: %s, %v, want %s", got, err, want)
		}
	}
}
