package scheduling_test

import (
	"context"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/units"
	"wetside/scheduling"
	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

// rows counts what a trial might leave behind.
func (b *bench) rows() (n [6]int64) {
	b.t.Helper()
	err := b.pool.QueryRow(b.t.Context(), `SELECT (SELECT count(*) FROM plans), (SELECT count(*) FROM batches),
		(SELECT count(*) FROM rolls), (SELECT count(*) FROM sessions), (SELECT count(*) FROM kits),
		(SELECT schedule_version FROM labs)`).Scan(&n[0], &n[1], &n[2], &n[3], &n[4], &n[5])
	if err != nil {
		b.t.Fatal(err)
	}
	return n
}

// try tries changes on the first week, and holds that nothing of it is kept.
func (b *bench) try(in scheduling.Trial) scheduling.TriedPlan {
	b.t.Helper()
	in.From, in.Until = monday, monday.AddDate(0, 0, 7)
	before := b.rows()
	out := must(b, b.steward, scheduling.TryPlan, in)
	if after := b.rows(); after != before {
		b.t.Errorf("rows and version before the trial %v, after it %v", before, after)
	}
	if broken := checker.Check(out.Problem, out.Plan); len(broken) > 0 {
		b.t.Errorf("the plan tried breaks %v", broken)
	}
	return out
}

// secondTank is another tank, with a session of its own on Tuesday.
func (b *bench) secondTank() (tank lab.Tank, session scheduling.Session) {
	b.t.Helper()
	b.do(func(ctx context.Context, tx pgx.Tx) (err error) {
		tank, err = lab.AddTank(ctx, tx, b.steward, lab.NewTank{Name: "Other", HeightMM: 205, VolumeML: 1500, HeaterW: 500,
			ReelKinds: []string{"spiral-35", "spiral-8"}, CleanUp: 10 * units.Minute, Flush: 5 * units.Minute})
		return err
	})
	start := monday.AddDate(0, 0, 2).Add(10 * time.Hour)
	return tank, must(b, b.steward, scheduling.AddSession, scheduling.NewSession{
		Tank: tank.ID, Start: start, End: start.Add(4 * time.Hour), Operator: b.steward.By.ID})
}

func TestTrialOfNoChangeIsThePlan(t *testing.T) {
	b := newBench(t)
	b.rolls(b.ana, 4, "135-36", "reversal-3")
	out := b.try(scheduling.Trial{})
	if len(out.Difference.Moves) != 0 || len(out.TakenApart) != 0 || len(out.Plan.Batches) == 0 {
		t.Errorf("moves %v, taken apart %v, %d batches", out.Difference.Moves, out.TakenApart, len(out.Plan.Batches))
	}
	for _, l := range out.Difference.Levels {
		if l.Before != l.After && l.Name != "changes" {
			t.Errorf("level %+v", l)
		}
	}
}

func TestTrialOfMoreOfEverything(t *testing.T) {
	b := newBench(t)
	cine := b.rolls(b.ana, 4, "cine-8-15m", "reversal-3")
	b.rolls(b.bo, 2, "135-36", "reversal-3")
	plain := b.plan(monday, monday.AddDate(0, 0, 7))

	reels := b.try(scheduling.Trial{More: scheduling.MoreParts{Reels: []scheduling.MoreReels{{Kind: "spiral-8", Count: 2}}}})
	if was, is := reels.Difference.Levels[4].Before, reels.Difference.Levels[4].After; was != plain.Levels[4].Value || is >= was {
		t.Errorf("with two reels more all is dry at %d s instead of %d, of a plan that says %d", is, was, plain.Levels[4].Value)
	}
	if len(reels.Difference.Moves) == 0 {
		t.Error("with two reels more nothing moves")
	}

	session := b.try(scheduling.Trial{More: scheduling.MoreParts{Sessions: []scheduling.NewSession{{
		Tank: b.tank.ID, Start: monday.Add(2 * time.Hour), End: monday.Add(9 * time.Hour), Operator: b.steward.By.ID}}}})
	if !slices.ContainsFunc(session.Plan.Batches, func(p planner.Batch) bool { return p.Session == "trial-session-1" }) {
		t.Errorf("nothing is planned in the earlier session: %+v", session.Plan.Batches)
	}

	rolls := b.try(scheduling.Trial{More: scheduling.MoreParts{
		Rolls: []scheduling.NewRoll{{Format: "135-36", Process: "reversal-3"}, {Format: "135-36", Process: "reversal-3"}}}})
	if !slices.ContainsFunc(rolls.Difference.Moves, func(m planner.Move) bool { return m.Roll == "trial-roll-2" && m.From == nil }) &&
		!slices.ContainsFunc(rolls.Plan.LeftOut, func(l planner.LeftOut) bool { return l.Roll == "trial-roll-2" }) {
		t.Errorf("the roll added is nowhere: %+v", rolls.Difference.Moves)
	}

	// Four cine loads and more are beyond the one kit of twelve roll-equivalents.
	b.rolls(b.ana, 8, "135-36", "reversal-3")
	kits := b.try(scheduling.Trial{More: scheduling.MoreParts{Kits: []string{b.kit.ID}}})
	if l := kits.Difference.Levels[1]; l.After >= l.Before {
		t.Errorf("with another kit lateness is %d instead of %d", l.After, l.Before)
	}

	due := b.try(scheduling.Trial{Due: []scheduling.RollDue{{Roll: cine[0], Due: ptr(monday.Add(-time.Hour))}}})
	if l := due.Difference.Levels[1]; l.After <= l.Before {
		t.Errorf("with a roll due before lateness is %d instead of %d", l.After, l.Before)
	}
	pinned := b.try(scheduling.Trial{Pins: []scheduling.NewDirection{{Roll: cine[0], Session: &b.sessions[2].ID}}})
	if !slices.ContainsFunc(pinned.Plan.Batches, func(p planner.Batch) bool {
		return p.Session == b.sessions[2].ID && slices.ContainsFunc(p.Rolls, func(pl planner.Placement) bool { return pl.Roll == cine[0] })
	}) {
		t.Error("the pinned roll is not where it is pinned")
	}
}

func TestTrialOfABreakdownMovesWhatStood(t *testing.T) {
	b := newBench(t)
	_, other := b.secondTank()
	free := b.rolls(b.ana, 2, "135-36", "reversal-3")
	booked := b.roll(b.bo, "135-36", "reversal-3").ID
	must(b, b.bo, scheduling.Book, scheduling.NewBooking{Session: b.sessions[0].ID, Rolls: []string{booked}})
	if _, err := b.commit(b.plan(monday, monday.AddDate(0, 0, 7))); err != nil {
		t.Fatal(err)
	}
	batch := b.batchOf(free[0])
	if batch.Session != b.sessions[0].ID || b.batchOf(booked).ID != batch.ID {
		t.Fatalf("planned in %s, want the session that is booked", batch.Session)
	}
	out := b.try(scheduling.Trial{Without: scheduling.WithoutParts{Tanks: []string{b.tank.ID}}})
	if !slices.Equal(out.TakenApart, []string{batch.ID}) {
		t.Errorf("taken apart %v, want %s", out.TakenApart, batch.ID)
	}
	moved := map[string]planner.Move{}
	for _, m := range out.Difference.Moves {
		moved[m.Roll] = m
	}
	for _, id := range free {
		if m := moved[id]; m.From == nil || m.To == nil || m.From.Session != batch.Session || m.To.Session != other.ID {
			t.Errorf("roll %s: %+v, want it moved to the other tank", id, m)
		}
	}
	if m := moved[booked]; m.From == nil || m.To != nil || out.Difference.Levels[0].After != 1 {
		t.Errorf("the booked roll: %+v, displaced %d; want it to lose its place", m, out.Difference.Levels[0].After)
	}

	// The same in earnest.
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		tank, err := lab.FindTank(ctx, tx, b.steward.Lab.ID, b.tank.ID)
		if err != nil {
			return err
		}
		_, err = lab.ChangeTank(ctx, tx, b.steward, tank.ID, tank.Version, lab.TankChange{OutOfOrder: ptr(true)})
		return err
	})
	repaired := must(b, b.steward, scheduling.MakePlan, scheduling.NewPlan{From: monday, Until: monday.AddDate(0, 0, 7), Repair: true})
	if !slices.Equal(repaired.Replaces, []string{batch.ID}) || len(repaired.Moved) != 3 {
		t.Errorf("replaces %v, moved %+v", repaired.Replaces, repaired.Moved)
	}
	if _, err := b.commit(repaired); err != nil {
		t.Fatal(err)
	}
	if at := b.batchOf(free[0]).Session; at != other.ID {
		t.Errorf("after the repair the roll is in %s", at)
	}
}

// A batch is repaired when a bath dies before its own step, though after the
// film is wet.
func TestRepairMindsEachStep(t *testing.T) {
	b := newBench(t)
	b.at(b.sessions[0].Start)
	set := b.mixed()
	roll := b.roll(b.ana, "135-36", "reversal-3").ID
	if _, err := b.commit(b.plan(monday, monday.AddDate(0, 0, 7))); err != nil {
		t.Fatal(err)
	}
	batch := b.batchOf(roll)
	b.at(b.steward.Now.Add(-time.Minute))
	repair := func(last time.Duration) []string {
		b.exec(fmt.Sprintf("UPDATE baths SET expires_at = '%s' WHERE bath_set_id = '%s' AND role <> '%s'",
			batch.Wet.Add(last).Format(time.RFC3339), set.ID, set.Baths[0].Role))
		return must(b, b.steward, scheduling.MakePlan, scheduling.NewPlan{From: monday, Until: monday.AddDate(0, 0, 7), Repair: true}).Replaces
	}
	if replaced := repair(24 * time.Hour); len(replaced) != 0 {
		t.Errorf("baths that live a day longer: replaced %v", replaced)
	}
	if replaced := repair(time.Minute); !slices.Equal(replaced, []string{batch.ID}) {
		t.Errorf("baths dead a minute after the film is wet: replaced %v, want %s", replaced, batch.ID)
	}
}

func TestTrialSaysWhatItDoesNotKnow(t *testing.T) {
	b := newBench(t)
	roll := b.roll(b.ana, "135-36", "reversal-3").ID
	must(b, b.ana, scheduling.Book, scheduling.NewBooking{Session: b.sessions[0].ID, Rolls: []string{roll}})
	nothing := "none"
	_, err := call(b, b.steward, scheduling.TryPlan, scheduling.Trial{
		NewPlan: scheduling.NewPlan{From: monday, Until: monday.AddDate(0, 0, 7)},
		Without: scheduling.WithoutParts{Tanks: []string{nothing}, Cabinets: []string{nothing}, BathSets: []string{nothing}, Sessions: []string{nothing}},
		More: scheduling.MoreParts{
			Reels: []scheduling.MoreReels{{Kind: nothing, Count: 1}, {Kind: "spiral-35"}}, Kits: []string{nothing},
			Rolls: []scheduling.NewRoll{{Format: "cine-8", Process: "reversal-3", LengthMM: 200_000}},
			Sessions: []scheduling.NewSession{
				{Tank: nothing, Start: monday, End: monday.Add(time.Hour)},
				{Tank: b.tank.ID, Start: b.sessions[0].Start.Add(time.Hour), End: b.sessions[0].End},
			},
		},
		Due:  []scheduling.RollDue{{Roll: nothing}},
		Pins: []scheduling.NewDirection{{Roll: roll, Session: &b.sessions[1].ID}, {Roll: roll, Session: &b.sessions[0].ID}},
		Bans: []scheduling.NewDirection{{Roll: roll, Session: &nothing}},
	})
	r := b.refused("invalid", err)
	for _, want := range []string{
		"/without/tanks/0", "/without/cabinets/0", "/without/bath_sets/0", "/without/sessions/0", "/more/reels/0/kind", "/more/reels/1/count",
		"/more/kits/0", "/more/rolls/0/length_mm", "/more/sessions/0/tank", "/more/sessions/1", "/due/0/roll", "/pins/0", "/pins/1", "/bans/0/session",
	} {
		if !slices.ContainsFunc(r.Faults, func(f lab.Fault) bool { return f.Pointer == want && f.Code != "" }) {
			t.Errorf("no fault at %s: %v", want, r)
		}
	}
}

func TestGainsOfAPlan(t *testing.T) {
	b := newBench(t)
	b.rolls(b.ana, 4, "cine-8-15m", "reversal-3")
	p := b.plan(monday, monday.AddDate(0, 0, 7))
	var got scheduling.PlanGains
	b.do(func(ctx context.Context, tx pgx.Tx) (err error) {
		got, err = scheduling.FindGains(ctx, tx, b.steward.Lab.ID, p.ID)
		return err
	})
	kinds := map[string]planner.Gain{}
	for _, g := range got.Gains {
		kinds[g.Kind+" "+g.Of] = g
	}
	if !got.Complete || len(kinds) != 3 {
		t.Fatalf("complete %v: %+v", got.Complete, got.Gains)
	}
	if g := kinds["reel spiral-8"]; g.Levels[3].Before != p.Levels[3].Value {
		t.Errorf("one more reel: %+v, the plan's levels are %+v", g, p.Levels)
	}
	err := b.in(func(ctx context.Context, tx pgx.Tx) error {
		_, err := scheduling.FindGains(ctx, tx, b.steward.Lab.ID, "plan_00000000000000000000000000000000")
		return err
	})
	b.refused("not-found", err)
}
