package scheduling_test

import (
	"context"
	"encoding/json"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
	"wetside/scheduling"
	"wetside/scheduling/planner"
)

func TestHandInRefusesWhatNothingServes(t *testing.T) {
	b := newBench(t)
	for name, c := range map[string]struct {
		in   scheduling.NewRoll
		code string
		at   string
	}{
		"no reel":          {scheduling.NewRoll{Format: "8x10", Process: "bw-negative"}, "invalid", "/developing"},
		"no such format":   {scheduling.NewRoll{Format: "glass", Process: "c-41"}, "invalid", "/format"},
		"no such process":  {scheduling.NewRoll{Format: "135-36", Process: "albumen"}, "invalid", "/process"},
		"no 120 spiral":    {scheduling.NewRoll{Format: "120", Process: "c-41"}, "unserviceable-roll", "/format"},
		"push beyond":      {scheduling.NewRoll{Format: "135-36", Process: "c-41", Push: 9}, "invalid", "/push"},
		"due in the past":  {scheduling.NewRoll{Format: "135-36", Process: "c-41", Due: &time.Time{}}, "invalid", "/due"},
		"another's roll":   {scheduling.NewRoll{Format: "135-36", Process: "c-41", Member: b.bo.By.ID}, "forbidden", "/member"},
		"its own priority": {scheduling.NewRoll{Format: "135-36", Process: "c-41", Priority: 9}, "forbidden", "/priority"},
	} {
		_, err := call(b, b.ana, scheduling.HandIn, c.in)
		r := b.refused(c.code, err)
		if len(r.Faults) == 0 || r.Faults[0].Pointer != c.at {
			t.Errorf("%s: faults %v, want one at %s", name, r.Faults, c.at)
		}
	}
}

func TestHandInRefusesFilmLongerThanAnyReel(t *testing.T) {
	b := newBench(t)
	must(b, b.steward, chemistry.AddFormat, chemistry.Format{Code: "cine-8-30m", Name: "a double load", Kind: chemistry.Cine,
		WidthUM: 7976, LengthMM: 30480, ReelKind: "spiral-8", Hang: chemistry.HangLoop, Source: "a test"})
	_, err := call(b, b.ana, scheduling.HandIn, scheduling.NewRoll{Format: "cine-8-30m", Process: "reversal-3"})
	if r := b.refused("unserviceable-roll", err); r.Faults[0].Code != "too-long" {
		t.Errorf("refused for %v, want its length", r.Faults)
	}
}

func TestDueDateCanBeTakenAway(t *testing.T) {
	b := newBench(t)
	due := monday.AddDate(0, 0, 3)
	roll := must(b, b.ana, scheduling.HandIn, scheduling.NewRoll{Format: "135-36", Process: "c-41", Due: &due})
	change := func(body string) {
		t.Helper()
		var in scheduling.RollChange
		if err := json.Unmarshal([]byte(body), &in); err != nil {
			t.Fatal(err)
		}
		b.do(func(ctx context.Context, tx pgx.Tx) (err error) {
			roll, err = scheduling.ChangeRoll(ctx, tx, b.ana, roll.ID, roll.Version, in)
			return err
		})
	}
	change(`{"note": "regatta"}`)
	if roll.Due == nil || !roll.Due.Equal(due) || roll.Note != "regatta" {
		t.Errorf("a new note leaves the roll due %v with note %q", roll.Due, roll.Note)
	}
	change(`{"due": null}`)
	if roll.Due != nil || roll.Note != "regatta" {
		t.Errorf("taking the date away leaves it due %v with note %q", roll.Due, roll.Note)
	}
}

func TestBookingIsProvedNotCounted(t *testing.T) {
	b := newBench(t)
	// Two small-gauge reels, each dry again three hours after a run: a session takes two rolls, whatever its length.
	ids := b.rolls(b.ana, 3, "cine-8-15m", "reversal-3")
	_, err := call(b, b.ana, scheduling.Book, scheduling.NewBooking{Session: b.sessions[0].ID, Rolls: ids})
	r := b.refused("does-not-fit", err)
	if r.Faults[0].Code != planner.ReasonReels {
		t.Errorf("three small-gauge rolls do not fit because of %v, want the reels", r.Faults)
	}
	booked := must(b, b.ana, scheduling.Book, scheduling.NewBooking{Session: b.sessions[0].ID, Rolls: ids[:2]})
	if len(booked.Rolls) != 2 || booked.Member != b.ana.By.ID {
		t.Errorf("booked %+v", booked)
	}
	// The bath: 12 roll-equivalents, of which the two above take 4.7; 35 mm takes one each.
	still := b.rolls(b.bo, 8, "135-36", "reversal-3")
	_, err = call(b, b.bo, scheduling.Book, scheduling.NewBooking{Session: b.sessions[1].ID, Rolls: still})
	r = b.refused("does-not-fit", err)
	if r.Faults[0].Code != planner.ReasonBathCapacity {
		t.Errorf("eight rolls more do not fit because of %v, want the bath's capacity", r.Faults)
	}
	must(b, b.bo, scheduling.Book, scheduling.NewBooking{Session: b.sessions[1].ID, Rolls: still[:7]})
}

func TestBookingRefusals(t *testing.T) {
	b := newBench(t)
	mine := b.rolls(b.ana, 2, "135-36", "reversal-3")
	other := b.roll(b.bo, "135-36", "reversal-3")
	session := b.sessions[0].ID
	book := func(s lab.Scope, session string, rolls ...string) error {
		_, err := call(b, s, scheduling.Book, scheduling.NewBooking{Session: session, Rolls: rolls})
		return err
	}
	b.refused("roll-twice", book(b.ana, session, mine[0], mine[0]))
	b.refused("invalid", book(b.ana, session))
	b.refused("not-found", book(b.ana, session, other.ID))
	b.refused("not-found", book(b.ana, "session_none", mine[0]))
	b.refused("invalid", book(b.steward, session, mine[0], other.ID))
	if err := book(b.ana, session, mine[0]); err != nil {
		t.Fatal(err)
	}
	b.refused("roll-already-booked", book(b.ana, b.sessions[1].ID, mine[0]))
	b.at(b.sessions[0].End)
	b.refused("session-over", book(b.ana, session, mine[1]))
}

func TestNothingIsBookedYearsAhead(t *testing.T) {
	b := newBench(t)
	far := b.session(monday.AddDate(2, 0, 0), 4*time.Hour)
	roll := b.roll(b.ana, "135-36", "reversal-3").ID
	_, err := call(b, b.ana, scheduling.Book, scheduling.NewBooking{Session: far.ID, Rolls: []string{roll}})
	if r := b.refused("does-not-fit", err); r.Faults[0].Code != planner.ReasonNoSession {
		t.Errorf("refused for %v", r.Faults)
	}
	// A clock that is turned back finds places farther ahead than any plan spans.
	must(b, b.ana, scheduling.Book, scheduling.NewBooking{Session: b.sessions[0].ID, Rolls: []string{roll}})
	early := monday.AddDate(-2, 0, 0)
	b.at(early)
	b.plan(early, early.AddDate(0, 0, 7))
}

func TestCancelledBookingGivesItsPlaceBack(t *testing.T) {
	b := newBench(t)
	ids := b.rolls(b.ana, 4, "cine-8-15m", "reversal-3")
	first := must(b, b.ana, scheduling.Book, scheduling.NewBooking{Session: b.sessions[0].ID, Rolls: ids[:2]})
	in := scheduling.NewBooking{Session: b.sessions[0].ID, Rolls: ids[2:]}
	_, err := call(b, b.ana, scheduling.Book, in)
	b.refused("does-not-fit", err)
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		_, err := scheduling.CancelBooking(ctx, tx, b.ana, first.ID, first.Version)
		return err
	})
	must(b, b.ana, scheduling.Book, in)
	err = b.in(func(ctx context.Context, tx pgx.Tx) error {
		_, err := scheduling.CancelBooking(ctx, tx, b.ana, first.ID, first.Version)
		return err
	})
	b.refused("stale", err)
}

// Many clients at once for the last places: what is given is what fits, and
// the rest are refused, none by a deadlock.
func TestLastPlaceUnderContention(t *testing.T) {
	b := newBench(t)
	ids := b.rolls(b.ana, 12, "cine-8-15m", "reversal-3")
	var mu sync.Mutex
	outcome := map[string]int{}
	var wg sync.WaitGroup
	for _, id := range ids {
		wg.Go(func() {
			_, err := call(b, b.ana, scheduling.Book, scheduling.NewBooking{Session: b.sessions[0].ID, Rolls: []string{id}})
			mu.Lock()
			defer mu.Unlock()
			switch {
			case err == nil:
				outcome["booked"]++
			case lab.RefusalCode(err) != "":
				outcome[lab.RefusalCode(err)]++
			default:
				outcome[err.Error()]++
			}
		})
	}
	wg.Wait()
	if outcome["booked"] != 2 || outcome["does-not-fit"] != 10 {
		t.Errorf("outcomes %v, want 2 booked and 10 that do not fit", outcome)
	}
}

// Sessions added at once in opposite orders would deadlock on the exclusion
// constraint; the lab's lock puts them in one order.
func TestRacingSessionsNeverDeadlock(t *testing.T) {
	b := newBench(t)
	start := monday.AddDate(0, 0, 10)
	var mu sync.Mutex
	outcome := map[string]int{}
	var wg sync.WaitGroup
	for i := range 8 {
		wg.Go(func() {
			err := b.in(func(ctx context.Context, tx pgx.Tx) error {
				days := []int{0, 1}
				if i%2 == 1 {
					days = []int{1, 0}
				}
				for _, day := range days {
					from := start.AddDate(0, 0, day)
					_, err := scheduling.AddSession(ctx, tx, b.steward, scheduling.NewSession{
						Tank: b.tank.ID, Operator: b.steward.By.ID, Start: from, End: from.Add(time.Hour)})
					if err != nil {
						return err
					}
				}
				return nil
			})
			mu.Lock()
			defer mu.Unlock()
			if err == nil {
				outcome["added"]++
			} else if code := lab.RefusalCode(err); code != "" {
				outcome[code]++
			} else {
				outcome[err.Error()]++
			}
		})
	}
	wg.Wait()
	if outcome["added"] != 1 || outcome["tank-taken"] != 7 {
		t.Errorf("outcomes %v, want one added and seven refused", outcome)
	}
}

func TestPlacesAreWhatCanBeBooked(t *testing.T) {
	b := newBench(t)
	ids := append(b.rolls(b.ana, 3, "cine-8-15m", "reversal-3"), b.rolls(b.ana, 2, "135-36", "reversal-3")...)
	var open []scheduling.OpenSession
	b.do(func(ctx context.Context, tx pgx.Tx) (err error) {
		open, err = scheduling.WithPlaces(ctx, tx, b.ana, b.sessions, ids)
		return err
	})
	for _, e := range open {
		if len(e.Places) != 2 || e.Places[0].Fit != 2 || e.Places[1].Fit != 2 || len(e.Places[0].Reasons) == 0 {
			t.Errorf("places %+v, want two of the three small-gauge rolls, with reasons, and both of the others", e.Places)
		}
	}
	for _, p := range open[0].Places {
		must(b, b.ana, scheduling.Book, scheduling.NewBooking{Session: open[0].ID, Rolls: p.Rolls[:p.Fit]})
	}
}
