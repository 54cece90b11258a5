package scheduling_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/units"
	"wetside/scheduling"
)

// ruled is a lab with quotas and strikes, some of whose sessions members run
// themselves, and what was made of it by random wishes.
type ruled struct {
	*bench
	rng *rand.Rand
	// live are bookings that may still be cancelled, each with its member.
	live []bookedBy

	offered, booked, suspended int
	refusals                   map[string]int // of sessions passed over, by code
}

// A bookedBy is a booking and whose it is.
type bookedBy struct {
	id string
	by lab.Scope
}

// Under quotas, strikes and the rules of self-service too every session offered
// takes the wish at once, and every one passed over refuses it: whoever asks, a
// steward for somebody else among them, while holds lapse, bookings are
// cancelled late, and strikes run out.
func TestAvailabilityIsExactUnderRules(t *testing.T) {
	const wishes = 60
	r := &ruled{bench: newBench(t), rng: rand.New(rand.NewPCG(8, 15)), refusals: map[string]int{}}
	r.certify(r.ana)
	r.rule(scheduling.BookingRulesChange{RollsAWeek: units.Optional[int64]{Given: true, To: ptr(int64(4))},
		Strikes: units.Optional[int64]{Given: true, To: ptr(int64(2))}, StrikesCount: ptr(units.Day), CutOff: ptr(28 * units.Day)})
	for day := range 10 {
		in := scheduling.NewSession{Tank: r.tank.ID, Kind: scheduling.SelfService,
			Start: monday.AddDate(0, 0, 4+day).Add(time.Duration(4+r.rng.IntN(4)) * time.Hour)}
		in.End = in.Start.Add(time.Duration(3+r.rng.IntN(3)) * time.Hour)
		if day%3 == 0 {
			in.Kind, in.Operator = scheduling.Attended, r.steward.By.ID
		}
		r.sessions = append(r.sessions, must(r.bench, r.steward, scheduling.AddSession, in))
	}
	for n := range wishes {
		if n == wishes/2 {
			r.certify(r.bo) // who was certified for nothing so far
		}
		r.at(r.ana.Now.Add(time.Duration(r.rng.IntN(180)) * time.Minute))
		r.wish()
		if r.rng.IntN(3) == 0 {
			r.cancel()
		}
	}
	t.Logf("%d wishes: %d offers all taken, %v passed over and refused, %d booked to stay, %d asked while suspended",
		wishes, r.offered, r.refusals, r.booked, r.suspended)
	rules := []string{"does-not-fit", "quota-exceeded", "booking-suspended", "not-certified", "session-taken"}
	for _, code := range rules {
		if r.refusals[code] < 5 {
			t.Errorf("only %d sessions were passed over for %s", r.refusals[code], code)
		}
	}
	for code := range r.refusals {
		if !slices.Contains(rules, code) {
			t.Errorf("bookings were refused for %s, which no session is passed over for", code)
		}
	}
	if r.offered < 50 || r.booked < 10 {
		t.Errorf("only %d offers were taken, %d to stay", r.offered, r.booked)
	}
}

// wish has somebody wish for something, and holds what is offered against what
// can be booked.
func (r *ruled) wish() {
	r.t.Helper()
	owner := []lab.Scope{r.ana, r.bo}[r.rng.IntN(2)]
	as, wish := owner, scheduling.Wish{Limit: 20}
	if r.rng.IntN(5) == 0 {
		as = r.steward
		wish.Rolls = r.rolls(owner, 1+r.rng.IntN(3), "135-36", "reversal-3")
	} else {
		format := []string{"135-36", "135-36", "cine-8-15m"}[r.rng.IntN(3)]
		wish.Films = []scheduling.Film{{Format: format, Process: "reversal-3", Count: 1 + r.rng.IntN(3)}}
	}
	found := must(r.bench, as, scheduling.FindAvailability, wish)
	open := slices.Clone(r.sessions)
	open = slices.DeleteFunc(open, func(e scheduling.Session) bool { return !e.End.After(as.Now) })
	if n := len(found.Offers) + len(found.PassedOver); n != len(open) || found.SearchedUntil != nil {
		r.t.Fatalf("looked at %d of %d sessions, until %v", n, len(open), found.SearchedUntil)
	}
	for _, o := range found.Offers {
		r.offered++
		if _, err := r.take(as, wish, o.Session.ID, false, false); err != nil {
			r.t.Fatalf("offered %v to %s for %+v: %v", o.Session.Start, as.By.Name, wish, err)
		}
	}
	for _, id := range found.PassedOver {
		_, err := r.take(as, wish, id, false, false)
		code := lab.RefusalCode(err)
		if code == "" {
			r.t.Fatalf("%s is passed over for %s, who wishes %+v, and is answered %v", r.start(id), as.By.Name, wish, err)
		}
		r.refusals[code]++
	}
	if as.By.ID == owner.By.ID && len(found.PassedOver) == len(open) && r.struck(owner) {
		r.suspended++
	}
	if len(found.Offers) > 0 && r.rng.IntN(3) > 0 {
		r.booked++
		made, err := r.take(as, wish, found.Offers[r.rng.IntN(len(found.Offers))].Session.ID, true, r.rng.IntN(2) == 0)
		if err != nil {
			r.t.Fatal(err)
		}
		r.live = append(r.live, bookedBy{made.ID, owner})
	}
}

// take hands in what a wish describes and books all of it; it is undone unless
// it is to stay.
func (r *ruled) take(as lab.Scope, wish scheduling.Wish, session string, stays, hold bool) (made scheduling.Booking, err error) {
	r.t.Helper()
	err = r.in(func(ctx context.Context, tx pgx.Tx) error {
		ids := slices.Clone(wish.Rolls)
		for _, f := range wish.Films {
			for range f.Count {
				roll, err := scheduling.HandIn(ctx, tx, as, scheduling.NewRoll{Format: f.Format, Process: f.Process})
				if err != nil {
					return fmt.Errorf("hand in: %w", err)
				}
				ids = append(ids, roll.ID)
			}
		}
		var err error
		if made, err = scheduling.Book(ctx, tx, as, scheduling.NewBooking{Session: session, Rolls: ids, Hold: hold}); err != nil || stays {
			return err
		}
		return errUndo
	})
	if errors.Is(err, errUndo) {
		err = nil
	}
	return made, err
}

// cancel has a member cancel one of their bookings, if it still stands: late,
// as the rules are.
func (r *ruled) cancel() {
	r.t.Helper()
	if len(r.live) == 0 {
		return
	}
	i := r.rng.IntN(len(r.live))
	of := r.live[i]
	r.live = slices.Delete(r.live, i, i+1)
	by := of.by
	by.Now = r.ana.Now
	err := r.in(func(ctx context.Context, tx pgx.Tx) error {
		b, err := scheduling.FindBooking(ctx, tx, by, of.id)
		if err != nil {
			return err
		}
		_, err = scheduling.CancelBooking(ctx, tx, by, b.ID, b.Version)
		return err
	})
	if err != nil && lab.RefusalCode(err) == "" {
		r.t.Fatal(err)
	}
}

// struck says whether strikes keep a member from booking.
func (r *ruled) struck(s lab.Scope) bool {
	r.t.Helper()
	return must(r.bench, s, scheduling.FindBookingRecord, s.By.ID).SuspendedUntil != nil
}

// start is when a session begins, for messages.
func (r *ruled) start(id string) string {
	i := slices.IndexFunc(r.sessions, func(e scheduling.Session) bool { return e.ID == id })
	return r.sessions[i].Start.Format(time.DateTime)
}
