package scheduling_test

import (
	"context"
	"errors"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/scheduling"
)

// errUndo rolls a transaction back after what it was to show.
var errUndo = errors.New("undo")

// Every session offered takes the wish at once, and every one passed over
// refuses it: film that is only described is handed in and booked, in the
// sessions one after another, each time undone.
func TestAvailabilityIsExact(t *testing.T) {
	b := newBench(t)
	const weeks = 20
	rng := rand.New(rand.NewPCG(4, 7))
	for day := range 4 {
		start := monday.AddDate(0, 0, 4+day).Add(time.Duration(8+rng.IntN(4)) * time.Hour)
		b.sessions = append(b.sessions, b.session(start, time.Duration(1+rng.IntN(4))*time.Hour))
	}
	offered, passed, booked := 0, 0, 0
	for range weeks {
		wish := scheduling.Wish{Limit: 20}
		if n := rng.IntN(3); n > 0 {
			wish.Rolls = b.rolls(b.ana, n, "135-36", "reversal-3")
		}
		for _, format := range []string{"cine-8-15m", "135-36"} {
			if n := rng.IntN(3); n > 0 || format == "135-36" && len(wish.Rolls)+len(wish.Films) == 0 {
				wish.Films = append(wish.Films, scheduling.Film{Format: format, Process: "reversal-3", Count: max(n, 1)})
			}
		}
		found := must(b, b.ana, scheduling.FindAvailability, wish)
		if n := len(found.Offers) + len(found.PassedOver); n != len(b.sessions) || found.SearchedUntil != nil {
			t.Fatalf("looked at %d of %d sessions, until %v", n, len(b.sessions), found.SearchedUntil)
		}
		for _, o := range found.Offers {
			offered++
			if err := b.bookWish(wish, o.Session.ID, false); err != nil {
				t.Fatalf("offered %v to %+v: %v", o.Session.Start, wish, err)
			}
			if !o.DryAt.After(o.Session.Start) || o.DryBy.Before(o.DryAt) || len(o.Costs) != 1 || o.Costs[0].Most <= 0 {
				t.Errorf("offer %+v", o)
			}
		}
		for _, id := range found.PassedOver {
			passed++
			b.refused("does-not-fit", b.bookWish(wish, id, false))
		}
		if len(found.Offers) > 0 && rng.IntN(2) == 0 {
			booked++
			if err := b.bookWish(wish, found.Offers[rng.IntN(len(found.Offers))].Session.ID, true); err != nil {
				t.Fatal(err)
			}
		}
	}
	t.Logf("%d wishes: %d offers all taken, %d passed over all refused, %d booked to stay", weeks, offered, passed, booked)
	if offered < 20 || passed < 20 {
		t.Error("the test no longer tells the two apart")
	}
}

// bookWish hands in what a wish describes and books all of it.
func (b *bench) bookWish(wish scheduling.Wish, session string, stays bool) error {
	b.t.Helper()
	err := b.in(func(ctx context.Context, tx pgx.Tx) error {
		ids := slices.Clone(wish.Rolls)
		for _, f := range wish.Films {
			for range f.Count {
				r, err := scheduling.HandIn(ctx, tx, b.ana, scheduling.NewRoll{Format: f.Format, Process: f.Process})
				if err != nil {
					return err
				}
				ids = append(ids, r.ID)
			}
		}
		slices.Reverse(ids) // in whatever order they are named
		if _, err := scheduling.Book(ctx, tx, b.ana, scheduling.NewBooking{Session: session, Rolls: ids}); err != nil || stays {
			return err
		}
		return errUndo
	})
	if errors.Is(err, errUndo) {
		return nil
	}
	return err
}

func TestAvailabilityIsBoundedAndRefusesWhatBookingWould(t *testing.T) {
	b := newBench(t)
	two := []scheduling.Film{{Format: "cine-8-15m", Process: "reversal-3", Count: 2}}
	found := must(b, b.ana, scheduling.FindAvailability, scheduling.Wish{Films: two, Limit: 1})
	if len(found.Offers) != 1 || found.Offers[0].Session.ID != b.sessions[0].ID || !found.SearchedUntil.Equal(b.sessions[1].Start) {
		t.Errorf("the first session is %+v", found)
	}
	next := must(b, b.ana, scheduling.FindAvailability, scheduling.Wish{Films: two, From: found.SearchedUntil, Until: &b.sessions[2].Start})
	if len(next.Offers) != 1 || next.Offers[0].Session.ID != b.sessions[1].ID || next.SearchedUntil != nil {
		t.Errorf("searching on finds %+v", next)
	}
	theirs := b.roll(b.bo, "135-36", "reversal-3")
	for code, wish := range map[string]scheduling.Wish{
		"not-found":          {Rolls: []string{theirs.ID}},
		"unserviceable-roll": {Films: []scheduling.Film{{Format: "120", Process: "c-41", Count: 1}}},
		"invalid":            {Films: []scheduling.Film{{Format: "135-36", Process: "c-41", Count: 101}}},
	} {
		_, err := call(b, b.ana, scheduling.FindAvailability, wish)
		b.refused(code, err)
	}
}

func TestARefusedBookingNamesTheNearestSessions(t *testing.T) {
	b := newBench(t)
	ids := b.rolls(b.ana, 4, "cine-8-15m", "reversal-3")
	must(b, b.ana, scheduling.Book, scheduling.NewBooking{Session: b.sessions[1].ID, Rolls: ids[:2]})
	_, err := call(b, b.ana, scheduling.Book, scheduling.NewBooking{Session: b.sessions[1].ID, Rolls: ids[2:]})
	var no *lab.Refusal
	if !errors.As(err, &no) || len(no.Instead) != 2 || no.Instead[0] != b.sessions[0].ID || no.Instead[1] != b.sessions[2].ID {
		t.Errorf("refused by %+v, want Monday's session named, then Thursday's", no)
	}
	must(b, b.ana, scheduling.Book, scheduling.NewBooking{Session: no.Instead[0], Rolls: ids[2:]})
}
