package scheduling_test

import (
	"context"
	"testing"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
	"wetside/lab/units"
	"wetside/scheduling"
)

// mixed mixes the bench's kit now.
func (b *bench) mixed() chemistry.BathSet {
	b.t.Helper()
	return must(b, b.steward, scheduling.Mix, chemistry.NewMix{Kit: b.kit.ID})
}

func (b *bench) quarantine(bath string, because string) chemistry.Bath {
	b.t.Helper()
	return must(b, b.steward, func(ctx context.Context, tx pgx.Tx, s lab.Scope, in chemistry.Because) (chemistry.Bath, error) {
		got, err := chemistry.FindBath(ctx, tx, s.Lab.ID, bath, s.Now)
		if err != nil {
			return got, err
		}
		return chemistry.QuarantineBath(ctx, tx, s, bath, got.Version, in)
	}, chemistry.Because{Because: because})
}

func TestABathsAnswerForeseesWhatIsBooked(t *testing.T) {
	b := newBench(t)
	first := b.mixed().Baths[0]
	alone := must(b, b.steward, scheduling.FindBath, first.ID)
	if o := alone.Outlook; o.BindsFirst != chemistry.LimitLife || !o.DiesAt.Equal(first.ExpiresAt) || *o.Margin.AreaMM2 != 12*chemistry.RollEquivalentMM2 {
		t.Errorf("nobody has booked: %+v", o)
	}
	ids := b.rolls(b.ana, 4, "135-36", "reversal-3")
	must(b, b.ana, scheduling.Book, scheduling.NewBooking{Session: b.sessions[0].ID, Rolls: ids})
	booked := must(b, b.steward, scheduling.FindBath, first.ID).Outlook
	if booked.BookedRuns != 1 || booked.BookedAreaMM2 != 4*chemistry.RollEquivalentMM2 || booked.PaceMM2PerWeek != 4*chemistry.RollEquivalentMM2 {
		t.Errorf("four rolls are booked: %+v", booked)
	}
	// Four a week from Monday evening: twelve are used up two weeks later, before the four weeks are over.
	if want := b.sessions[0].Start.AddDate(0, 0, 14); booked.BindsFirst != chemistry.LimitArea || !booked.DiesAt.Equal(want) {
		t.Errorf("dies by %s at %s, want area at %s", booked.BindsFirst, booked.DiesAt, want)
	}
	if _, err := b.commit(b.plan(monday, monday.AddDate(0, 0, 1))); err != nil {
		t.Fatal(err)
	}
	planned := must(b, b.steward, scheduling.FindBath, first.ID).Outlook
	if planned.BookedRuns != 1 || planned.BookedAreaMM2 != booked.BookedAreaMM2 {
		t.Errorf("planned, the same rolls count %+v", planned)
	}
}

func TestWhatABathStillTakes(t *testing.T) {
	b := newBench(t)
	set := b.mixed()
	what := must(b, b.steward, scheduling.FindWhatIf, set.Baths[0].ID)
	rolls := map[string]int64{}
	for _, r := range what.Rolls {
		rolls[r.Format] = *r.SetRolls
		if *r.Rolls != *r.SetRolls || r.Binds != chemistry.LimitArea {
			t.Errorf("%+v", r)
		}
	}
	if rolls["135-36"] != 12 || rolls["135-24"] != 17 || rolls["cine-8-15m"] != 5 || len(what.Cautions) == 0 {
		t.Errorf("%+v", rolls)
	}
	if _, there := rolls["120"]; there {
		t.Error("the lab has no reel for 120")
	}
	if l := what.Time; l == nil || l.Fresh != 6*units.Minute || l.Longest != 9*units.Minute || l.MoreMM2 != nil {
		t.Errorf("the table ends at 7:12: %+v", l)
	}
}

func TestAQuarantinedBathIsOutOfPlansAndBookings(t *testing.T) {
	b := newBench(t)
	set := b.mixed()
	ids := b.rolls(b.ana, 2, "135-36", "reversal-3")
	b.quarantine(set.Baths[1].ID, "smells of fixer")
	_, err := call(b, b.ana, scheduling.Book, scheduling.NewBooking{Session: b.sessions[0].ID, Rolls: ids})
	b.refused("does-not-fit", err)
	if p := b.plan(monday, monday.AddDate(0, 0, 7)); len(p.Batches) != 0 || len(p.LeftOut) != 2 {
		t.Errorf("%d batches are planned on it", len(p.Batches))
	}
	must(b, b.steward, func(ctx context.Context, tx pgx.Tx, s lab.Scope, in chemistry.Because) (chemistry.Bath, error) {
		return chemistry.ReleaseBath(ctx, tx, s, set.Baths[1].ID, 2, in)
	}, chemistry.Because{Because: "it was the drain"})
	must(b, b.ana, scheduling.Book, scheduling.NewBooking{Session: b.sessions[0].ID, Rolls: ids})
	p := b.plan(monday, monday.AddDate(0, 0, 7))
	if len(p.Batches) != 1 {
		t.Errorf("released, it has %d batches", len(p.Batches))
	}
	// Kept again, a plan that was made on it is stale; once committed, it stands beside new ones.
	b.quarantine(set.Baths[1].ID, "it was not the drain")
	_, err = b.commit(p)
	b.refused("plan-stale", err)
	must(b, b.steward, func(ctx context.Context, tx pgx.Tx, s lab.Scope, in chemistry.Because) (chemistry.Bath, error) {
		return chemistry.ReleaseBath(ctx, tx, s, set.Baths[1].ID, 4, in)
	}, chemistry.Because{Because: "a new strip"})
	if _, err := b.commit(b.plan(monday, monday.AddDate(0, 0, 7))); err != nil {
		t.Fatal(err)
	}
	b.quarantine(set.Baths[1].ID, "for good")
	b.rolls(b.bo, 1, "135-36", "reversal-3")
	if p := b.plan(monday, monday.AddDate(0, 0, 7)); len(p.LeftOut) != 1 {
		t.Errorf("beside a batch on it, %d rolls are left out", len(p.LeftOut))
	}
}
