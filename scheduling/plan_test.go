package scheduling_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
	"wetside/lab/units"
	"wetside/scheduling"
	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

// batchOf is the planned batch that a roll is in.
func (b *bench) batchOf(roll string) scheduling.Batch {
	b.t.Helper()
	r := b.find(b.steward, roll)
	if r.Batch == nil {
		b.t.Fatalf("roll %s is %s, in no batch", roll, r.Status)
	}
	var batch scheduling.Batch
	b.do(func(ctx context.Context, tx pgx.Tx) (err error) {
		batch, err = scheduling.FindBatch(ctx, tx, b.steward.Lab.ID, *r.Batch)
		return err
	})
	return batch
}

func (b *bench) record(batch scheduling.Batch, outcome scheduling.RunOutcome) (run scheduling.Run, err error) {
	b.t.Helper()
	err = b.in(func(ctx context.Context, tx pgx.Tx) (err error) {
		run, err = scheduling.RecordRun(ctx, tx, b.steward, batch.ID, scheduling.NewRun{
			Outcome: outcome, StartedAt: batch.Start, EndedAt: batch.End})
		return err
	})
	return run, err
}

func (b *bench) sheet(batch scheduling.Batch) (sheet scheduling.RunSheet, err error) {
	b.t.Helper()
	err = b.in(func(ctx context.Context, tx pgx.Tx) (err error) {
		sheet, err = scheduling.FindRunSheet(ctx, tx, b.steward, batch.ID, nil)
		return err
	})
	return sheet, err
}

func TestPlanOfAWeek(t *testing.T) {
	b := newBench(t)
	cine := b.rolls(b.ana, 2, "cine-8-15m", "reversal-3")
	still := b.rolls(b.bo, 3, "135-36", "reversal-3")
	wild := b.roll(b.bo, "135-36", "ecn-2") // no kit for it
	must(b, b.ana, scheduling.Book, scheduling.NewBooking{Session: b.sessions[1].ID, Rolls: cine})

	p := b.plan(monday, monday.AddDate(0, 0, 7))
	if broken := checker.Check(p.Problem, &p.Plan); len(broken) > 0 {
		t.Fatalf("the plan breaks %v", broken)
	}
	if len(p.LeftOut) != 1 || p.LeftOut[0].Roll != wild.ID || p.LeftOut[0].Reasons[0].Code != planner.ReasonNoBath {
		t.Errorf("left out %+v, want the roll that has no bath", p.LeftOut)
	}
	if _, err := b.commit(p); err != nil {
		t.Fatal(err)
	}
	for _, id := range append(cine, still...) {
		if r := b.find(b.steward, id); r.Status != scheduling.Batched {
			t.Errorf("roll %s is %s", id, r.Status)
		}
	}
	if at := b.batchOf(cine[0]).Session; at != b.sessions[1].ID {
		t.Errorf("the booked rolls are planned in session %s, not %s", at, b.sessions[1].ID)
	}
	_, err := b.commit(p)
	b.refused("plan-not-draft", err)
}

func TestPlanIsStaleAfterABooking(t *testing.T) {
	b := newBench(t)
	ids := b.rolls(b.ana, 2, "135-36", "reversal-3")
	p := b.plan(monday, monday.AddDate(0, 0, 7))
	must(b, b.ana, scheduling.Book, scheduling.NewBooking{Session: b.sessions[2].ID, Rolls: ids[:1]})
	_, err := b.commit(p)
	b.refused("plan-stale", err)
	if r := b.find(b.ana, ids[1]); r.Status != scheduling.OnShelf {
		t.Errorf("a roll of the refused plan is %s", r.Status)
	}
	if _, err := b.commit(b.plan(monday, monday.AddDate(0, 0, 7))); err != nil {
		t.Error(err)
	}
}

func TestPlanKeepsPromisesBeyondItsSpan(t *testing.T) {
	b := newBench(t)
	// Twelve roll-equivalents in the only kit: ten are promised to Thursday.
	later := b.rolls(b.ana, 10, "135-36", "reversal-3")
	must(b, b.ana, scheduling.Book, scheduling.NewBooking{Session: b.sessions[2].ID, Rolls: later})
	b.rolls(b.bo, 5, "135-36", "reversal-3")
	p := b.plan(monday, monday.AddDate(0, 0, 2))
	placed := 0
	for _, batch := range p.Batches {
		placed += len(batch.Rolls)
	}
	// Whatever Monday's plan takes is from what Thursday leaves.
	if placed > 2 {
		t.Errorf("the plan places %d rolls and so spends what Thursday's bookings were promised", placed)
	}
}

// Days are planned one by one, in whatever order, though all share the only kit
// and nobody has mixed it yet: nobody's booking gives way.
func TestPlansOfOneDayKeepEveryBooking(t *testing.T) {
	for name, order := range map[string][]int{"in order": {0, 1, 3}, "backwards": {3, 1, 0}, "the middle first": {1, 3, 0}} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t)
			var booked [][]string
			for i, who := range []lab.Scope{b.ana, b.bo, b.ana} {
				ids := b.rolls(who, 3, "135-36", "reversal-3")
				must(b, who, scheduling.Book, scheduling.NewBooking{Session: b.sessions[i].ID, Rolls: ids})
				booked = append(booked, ids)
			}
			b.rolls(b.bo, 6, "135-36", "reversal-3") // on the shelf; the kit carries three of them
			for _, day := range order {
				p := b.plan(monday.AddDate(0, 0, day), monday.AddDate(0, 0, day+1))
				if p.Levels[0].Value != 0 {
					t.Fatalf("the plan of day %d leaves out %+v", day, p.LeftOut)
				}
				if _, err := b.commit(p); err != nil {
					t.Fatal(err)
				}
			}
			for i, ids := range booked {
				for _, id := range ids {
					if at := b.batchOf(id).Session; at != b.sessions[i].ID {
						t.Errorf("a roll booked in session %d is in %s", i, at)
					}
				}
			}
			late := b.roll(b.bo, "135-36", "reversal-3")
			_, err := call(b, b.bo, scheduling.Book, scheduling.NewBooking{Session: b.sessions[2].ID, Rolls: []string{late.ID}})
			b.refused("does-not-fit", err)
		})
	}
}

func TestReplanLetsALateBookingJoinABatch(t *testing.T) {
	b := newBench(t)
	// Time for one run, and nothing else.
	short := b.session(monday.AddDate(0, 0, 5), 75*time.Minute)
	early := b.roll(b.ana, "135-36", "reversal-3").ID
	must(b, b.ana, scheduling.Book, scheduling.NewBooking{Session: short.ID, Rolls: []string{early}})
	if _, err := b.commit(b.plan(monday, monday.AddDate(0, 0, 7))); err != nil {
		t.Fatal(err)
	}
	old := b.batchOf(early)
	late := b.roll(b.bo, "135-36", "reversal-3").ID
	must(b, b.bo, scheduling.Book, scheduling.NewBooking{Session: short.ID, Rolls: []string{late}})

	if p := b.plan(monday, monday.AddDate(0, 0, 7)); p.Levels[0].Value != 1 || len(p.Replaces) != 0 {
		t.Errorf("beside the batch that stands %d rolls have no place, want the late one", p.Levels[0].Value)
	}
	p := must(b, b.steward, scheduling.MakePlan, scheduling.NewPlan{From: monday, Until: monday.AddDate(0, 0, 7), Replan: true})
	if p.Levels[0].Value != 0 || len(p.Replaces) != 1 || p.Replaces[0] != old.ID {
		t.Fatalf("planned anew %d rolls have no place, in place of %v", p.Levels[0].Value, p.Replaces)
	}
	if _, err := b.commit(p); err != nil {
		t.Fatal(err)
	}
	if now := b.batchOf(early); now.ID == old.ID || now.ID != b.batchOf(late).ID || now.Session != short.ID {
		t.Errorf("after planning anew the first roll is in %s in session %s", now.ID, now.Session)
	}
	err := b.in(func(ctx context.Context, tx pgx.Tx) error {
		was, err := scheduling.FindBatch(ctx, tx, b.steward.Lab.ID, old.ID)
		if err == nil && was.Status != scheduling.BatchCancelled {
			t.Errorf("the batch before is %s", was.Status)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

func TestPinAndBan(t *testing.T) {
	b := newBench(t)
	ids := b.rolls(b.ana, 3, "135-36", "reversal-3")
	direct := func(kind scheduling.DirectionKind, roll string, session *string) error {
		return b.in(func(ctx context.Context, tx pgx.Tx) error {
			_, err := scheduling.Direct(ctx, tx, b.steward, kind, scheduling.NewDirection{Roll: roll, Session: session})
			return err
		})
	}
	last := b.sessions[2].ID
	if err := direct(scheduling.Pin, ids[0], &last); err != nil {
		t.Fatal(err)
	}
	if err := direct(scheduling.Ban, ids[1], nil); err != nil {
		t.Fatal(err)
	}
	b.refused("directions-clash", direct(scheduling.Ban, ids[0], &last))
	b.refused("directions-clash", direct(scheduling.Pin, ids[1], &last))
	_, err := call(b, b.ana, scheduling.Book, scheduling.NewBooking{Session: last, Rolls: ids[1:2]})
	if r := b.refused("does-not-fit", err); r.Faults[0].Code != planner.ReasonBanned {
		t.Errorf("the banned roll does not fit because of %v", r.Faults)
	}
	p := b.plan(monday, monday.AddDate(0, 0, 7))
	at := map[string]string{}
	for _, batch := range p.Batches {
		for _, pl := range batch.Rolls {
			at[pl.Roll] = batch.Session
		}
	}
	if at[ids[0]] != last || at[ids[1]] != "" || at[ids[2]] == "" {
		t.Errorf("planned in %v, want the first pinned to %s, the second left out, the third somewhere", at, last)
	}
}

func TestRunFillsBathsChargesAndDries(t *testing.T) {
	b := newBench(t)
	ids := b.rolls(b.ana, 4, "135-36", "reversal-3")
	if _, err := b.commit(b.plan(monday, monday.AddDate(0, 0, 7))); err != nil {
		t.Fatal(err)
	}
	batch := b.batchOf(ids[0])
	fresh, err := b.sheet(batch)
	if err != nil {
		t.Fatal(err)
	}
	_, err = b.record(batch, scheduling.RunDone)
	b.refused("baths-not-mixed", err)

	b.at(batch.Start)
	set := must(b, b.steward, scheduling.Mix, chemistry.NewMix{Kit: b.kit.ID})
	batch = b.batchOf(ids[0])
	_, err = b.record(batch, scheduling.RunDone)
	b.refused("invalid", err) // it is not over yet

	b.at(batch.End)
	run, err := b.record(batch, scheduling.RunDone)
	if err != nil {
		t.Fatal(err)
	}
	if run.AreaMM2 != 4*chemistry.RollEquivalentMM2 {
		t.Errorf("the run was of %d mm²", run.AreaMM2)
	}
	_, err = b.record(batch, scheduling.RunDone)
	b.refused("run-already-recorded", err)

	b.do(func(ctx context.Context, tx pgx.Tx) (err error) {
		set, err = chemistry.FindBathSet(ctx, tx, b.steward.Lab.ID, set.ID, b.steward.Now)
		return err
	})
	for _, bath := range set.Baths {
		if bath.UsedAreaMM2 != run.AreaMM2 || bath.UsedRuns != 1 {
			t.Errorf("the %s has seen %d mm² in %d runs", bath.Role, bath.UsedAreaMM2, bath.UsedRuns)
		}
	}
	if r := b.find(b.ana, ids[0]); r.Status != scheduling.Drying || !r.DryAt.Equal(batch.End.Add(4*time.Hour)) {
		t.Errorf("after the run the roll is %s, dry at %s", r.Status, r.DryAt)
	}
	b.at(batch.End.Add(4 * time.Hour))
	if r := b.find(b.ana, ids[0]); r.Status != scheduling.Ready {
		t.Errorf("once dry the roll is %s", r.Status)
	}
	// Four of twelve roll-equivalents of 60.00, provisionally.
	var charged int64
	err = b.pool.QueryRow(t.Context(), `SELECT sum(amount_minor) FROM postings WHERE member_id = $1`, b.ana.By.ID).Scan(&charged)
	if err != nil || charged != 2000 {
		t.Errorf("charged %d, %v; want 2000", charged, err)
	}
	b.timesGrow(ids, fresh)
}

// timesGrow runs a second batch and wants its first developer to take longer:
// after 4 of 12 roll-equivalents the table of the kit says a third of +20 %.
func (b *bench) timesGrow(_ []string, fresh scheduling.RunSheet) {
	b.t.Helper()
	roll := b.roll(b.bo, "135-36", "reversal-3").ID
	b.at(monday.Add(26 * time.Hour))
	if _, err := b.commit(b.plan(b.steward.Now, monday.AddDate(0, 0, 7))); err != nil {
		b.t.Fatal(err)
	}
	used, err := b.sheet(b.batchOf(roll))
	if err != nil {
		b.t.Fatal(err)
	}
	before, after := fresh.Steps[0], used.Steps[0]
	want := units.Duration((int64(before.Time)*1067 + 500) / 1000)
	if before.Role != "first-developer" || after.Time != want {
		b.t.Errorf("the first developer (%s) takes %s fresh and %s used, want %s; working %v", before.Role, before.Time, after.Time, want, after.Working)
	}
	if len(after.Working) != 1 || after.Working[0].Permille != 1067 {
		b.t.Errorf("its working is %v", after.Working)
	}
}

// The sheets of an evening are printed ahead: the second of two batches in one
// kit, not even mixed yet, is for baths that have seen the first.
func TestRunSheetCountsTheBatchesBefore(t *testing.T) {
	b := newBench(t)
	first := b.rolls(b.ana, 2, "cine-8-15m", "reversal-3")
	second := b.rolls(b.ana, 2, "cine-8-15m", "reversal-3")
	for i, ids := range [][]string{first, second} {
		must(b, b.ana, scheduling.Book, scheduling.NewBooking{Session: b.sessions[i].ID, Rolls: ids})
	}
	if _, err := b.commit(b.plan(monday, monday.AddDate(0, 0, 7))); err != nil {
		t.Fatal(err)
	}
	for i, id := range []string{first[0], second[0]} {
		sheet, err := b.sheet(b.batchOf(id))
		if err != nil {
			t.Fatal(err)
		}
		// Two loads of 121,553 mm² are 39.25 % of the kit's capacity, at whose end stand +20 %.
		if want := []int64{1000, 1079}[i]; sheet.Steps[0].Working[0].Permille != want {
			t.Errorf("batch %d works its first developer as %v, want %d permille", i, sheet.Steps[0].Working, want)
		}
	}
}

func TestSpoiledRunIsNotCharged(t *testing.T) {
	b := newBench(t)
	id := b.roll(b.ana, "135-36", "reversal-3").ID
	if _, err := b.commit(b.plan(monday, monday.AddDate(0, 0, 7))); err != nil {
		t.Fatal(err)
	}
	b.at(b.batchOf(id).Start)
	must(b, b.steward, scheduling.Mix, chemistry.NewMix{Kit: b.kit.ID})
	batch := b.batchOf(id)
	b.at(batch.End)
	if _, err := b.record(batch, scheduling.RunSpoiled); err != nil {
		t.Fatal(err)
	}
	if r := b.find(b.ana, id); r.Status != scheduling.Spoiled {
		t.Errorf("the roll is %s", r.Status)
	}
	var charges, used int64
	err := b.pool.QueryRow(t.Context(), `SELECT (SELECT count(*) FROM entries WHERE kind = 'run_charge'),
		(SELECT sum(used_runs) FROM baths)`).Scan(&charges, &used)
	if err != nil || charges != 0 || used != 4 {
		t.Errorf("%d charges, baths used %d times, %v; want none, and all four once", charges, used, err)
	}
}

func TestCancelledBatchPutsRollsBack(t *testing.T) {
	b := newBench(t)
	ids := b.rolls(b.ana, 2, "135-36", "reversal-3")
	must(b, b.ana, scheduling.Book, scheduling.NewBooking{Session: b.sessions[0].ID, Rolls: ids[:1]})
	if _, err := b.commit(b.plan(monday, monday.AddDate(0, 0, 7))); err != nil {
		t.Fatal(err)
	}
	batch := b.batchOf(ids[0])
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		_, err := scheduling.CancelBatch(ctx, tx, b.steward, batch.ID, batch.Version)
		return err
	})
	if r := b.find(b.ana, ids[0]); r.Status != scheduling.Booked {
		t.Errorf("the booked roll is %s after its batch was cancelled", r.Status)
	}
	if _, err := b.commit(b.plan(monday, monday.AddDate(0, 0, 7))); err != nil {
		t.Error(err)
	}
}

func TestBrokenTankTakesNothing(t *testing.T) {
	b := newBench(t)
	ids := b.rolls(b.ana, 1, "135-36", "reversal-3")
	must(b, b.ana, scheduling.Book, scheduling.NewBooking{Session: b.sessions[0].ID, Rolls: ids})
	if _, err := b.pool.Exec(t.Context(), `UPDATE tanks SET out_of_order = true`); err != nil {
		t.Fatal(err)
	}
	p := b.plan(monday, monday.AddDate(0, 0, 7))
	if len(p.Batches) != 0 || p.Levels[0].Value != 1 {
		t.Errorf("with its only tank out of order the lab plans %d batches and displaces %d", len(p.Batches), p.Levels[0].Value)
	}
	if p.Levels[0].Bound != 1 {
		t.Errorf("the displaced roll cannot be placed, but the bound is %d", p.Levels[0].Bound)
	}
}

// A pin is refused when no plan keeps it beside what is booked and pinned, and
// the refusal says with which; one that can never be kept by itself is not.
func TestPinsThatClashTogether(t *testing.T) {
	b := newBench(t)
	session := b.sessions[0].ID
	var ids []string
	for range 3 {
		ids = append(ids, must(b, b.ana, scheduling.HandIn, scheduling.NewRoll{Format: "cine-8", Process: "reversal-3", LengthMM: 10_000}).ID)
	}
	pin := func(roll, session string) error {
		return b.in(func(ctx context.Context, tx pgx.Tx) error {
			_, err := scheduling.Direct(ctx, tx, b.steward, scheduling.Pin, scheduling.NewDirection{Roll: roll, Session: &session})
			return err
		})
	}
	// Two reels, which do not dry within the session.
	must(b, b.ana, scheduling.Book, scheduling.NewBooking{Session: session, Rolls: ids[:1]})
	if err := pin(ids[1], session); err != nil {
		t.Fatal(err)
	}
	r := b.refused("directions-clash", pin(ids[2], session))
	if len(r.Faults) != 2 || !strings.Contains(r.Error(), ids[0]+" is booked") || !strings.Contains(r.Error(), ids[1]+" is pinned") {
		t.Errorf("refused with %v, want the roll booked and the one pinned there", r)
	}
	if err := pin(ids[2], b.sessions[1].ID); err != nil {
		t.Errorf("the session after: %v", err)
	}
}
