package scheduling_test

import (
	"context"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/scheduling"
)

func (b *bench) certify(s lab.Scope) {
	b.t.Helper()
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		_, err := lab.Certify(ctx, tx, b.steward, s.By.ID, b.tank.ID)
		return err
	})
}

func (b *bench) read(session scheduling.Session) (out scheduling.Session) {
	b.t.Helper()
	b.do(func(ctx context.Context, tx pgx.Tx) (err error) {
		out, err = scheduling.FindSession(ctx, tx, b.steward, session.ID)
		return err
	})
	return out
}

func TestCertifiedMembersRunSessionsThemselves(t *testing.T) {
	b := newBench(t)
	start := monday.AddDate(0, 0, 5)
	in := scheduling.NewSession{Tank: b.tank.ID, Start: start, End: start.Add(4 * time.Hour), Kind: scheduling.SelfService}
	theirs := in
	theirs.Operator = b.steward.By.ID
	_, err := call(b, b.steward, scheduling.AddSession, theirs)
	b.refused("invalid", err)
	nobodys := in
	nobodys.Kind = scheduling.Attended
	_, err = call(b, b.steward, scheduling.AddSession, nobodys)
	b.refused("invalid", err)
	open := must(b, b.steward, scheduling.AddSession, in)
	if open.Operator != "" || open.Kind != scheduling.SelfService {
		t.Errorf("open: %+v", open)
	}
	mine, others := b.rolls(b.ana, 2, "135-36", "reversal-3"), b.rolls(b.bo, 1, "135-36", "reversal-3")

	_, err = call(b, b.ana, scheduling.Book, booked(open.ID, mine[0]))
	b.refused("not-certified", err)
	b.certify(b.ana)
	b.certify(b.bo)
	first := must(b, b.ana, scheduling.Book, booked(open.ID, mine[0]))
	if got := b.read(open); got.Operator != b.ana.By.ID {
		t.Errorf("run by %q, want who booked it", got.Operator)
	}
	must(b, b.ana, scheduling.Book, booked(open.ID, mine[1]))
	_, err = call(b, b.bo, scheduling.Book, booked(open.ID, others[0]))
	b.refused("session-taken", err)
	var seen []scheduling.OpenSession
	b.do(func(ctx context.Context, tx pgx.Tx) (err error) {
		seen, err = scheduling.WithPlaces(ctx, tx, b.bo, []scheduling.Session{b.read(open)}, others)
		return err
	})
	if p := seen[0].Places[0]; p.Fit != 0 || p.Reasons[0].Code != "session-taken" {
		t.Errorf("places for another: %+v", p)
	}
	// A plan keeps others' rolls out of it.
	plan := b.plan(start.Add(-time.Hour), start.AddDate(0, 0, 1))
	for _, batch := range plan.Batches {
		for _, r := range batch.Rolls {
			if r.Roll == others[0] {
				t.Error("the plan runs another's roll there")
			}
		}
	}
	// Once nobody has it booked it is nobody's, for whoever comes next.
	moved, err := b.change(b.ana, turned(&b.sessions[2].ID, &mine), first)
	if b.refused("roll-already-booked", err); moved.ID != "" {
		t.Errorf("moved: %+v", moved)
	}
	if _, err := b.change(b.ana, turned(&b.sessions[2].ID, nil), first); err != nil {
		t.Fatal(err)
	}
	if got := b.read(open); got.Operator != b.ana.By.ID {
		t.Errorf("run by %q, who has a roll in it still", got.Operator)
	}
	var list lab.List[scheduling.Booking]
	b.do(func(ctx context.Context, tx pgx.Tx) (err error) {
		list, err = scheduling.ListBookings(ctx, tx, b.ana, open.ID, lab.Page{Limit: 10})
		return err
	})
	if _, err := b.change(b.ana, scheduling.CancelBooking, list.Items[0]); err != nil {
		t.Fatal(err)
	}
	if got := b.read(open); got.Operator != "" {
		t.Errorf("run by %q, want nobody", got.Operator)
	}
	hold := must(b, b.bo, scheduling.Book, held(open.ID, others[0]))
	b.at(*hold.HeldUntil)
	if got := b.read(open); got.Operator != "" {
		t.Errorf("run by %q, whose hold is over", got.Operator)
	}
	must(b, b.ana, scheduling.Book, booked(open.ID, mine[1]))
	if got := b.read(open); got.Operator != b.ana.By.ID {
		t.Errorf("after a hold that lapsed it is run by %q", got.Operator)
	}
}

// Nobody is in two places at once: who runs a session cannot load another
// tank's film meanwhile, where there is not the time to do one after the other.
func TestWhoRunsASessionRunsNoOtherMeanwhile(t *testing.T) {
	b := newBench(t)
	b.buy(reversalKit()) // two tanks, two sets of baths
	second := must(b, b.steward, lab.AddTank, lab.NewTank{Name: "Second", HeightMM: 205, VolumeML: 1500, HeaterW: 500,
		ReelKinds: []string{"spiral-8"}})
	b.certify(b.ana)
	b.certify(b.bo)
	// The shortest sessions in which a run fits beside another operator's.
	for day := range 30 {
		start := monday.AddDate(0, 0, 5+day)
		end := start.Add(time.Hour + time.Duration(day)*time.Minute)
		attended := must(b, b.steward, scheduling.AddSession, scheduling.NewSession{Tank: second.ID, Operator: b.ana.By.ID, Start: start, End: end})
		open := must(b, b.steward, scheduling.AddSession, scheduling.NewSession{Tank: b.tank.ID, Kind: scheduling.SelfService, Start: start, End: end})
		if _, err := call(b, b.steward, scheduling.Book, booked(attended.ID, b.roll(b.bo, "cine-8-15m", "reversal-3").ID)); err != nil {
			continue
		}
		_, mine := call(b, b.ana, scheduling.Book, booked(open.ID, b.roll(b.ana, "cine-8-15m", "reversal-3").ID))
		_, others := call(b, b.bo, scheduling.Book, booked(open.ID, b.roll(b.bo, "cine-8-15m", "reversal-3").ID))
		if mine == nil {
			t.Fatalf("in %s one person runs both; another: %v", end.Sub(start), others)
		}
		if b.refused("does-not-fit", mine); others == nil {
			return
		}
	}
	t.Error("two people never run both")
}
