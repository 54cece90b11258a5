package scheduling_test

import (
	"context"
	"slices"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
	"wetside/lab/units"
	"wetside/scheduling"
)

// planned is a batch of some rolls in baths that are mixed, its clock at the batch's end.
func (b *bench) planned(n int) scheduling.Batch {
	b.t.Helper()
	ids := b.rolls(b.ana, n, "135-36", "reversal-3")
	if _, err := b.commit(b.plan(b.steward.Now, monday.AddDate(0, 0, 7))); err != nil {
		b.t.Fatal(err)
	}
	batch := b.batchOf(ids[0])
	if batch.BathSet == nil {
		b.at(batch.Start)
		b.mixed()
		batch = b.batchOf(ids[0])
	}
	b.at(batch.End)
	return batch
}

// recordWith records a batch as done by its plan, with a change.
func (b *bench) recordWith(batch scheduling.Batch, change func(*scheduling.NewRun)) (scheduling.Run, error) {
	b.t.Helper()
	in := scheduling.NewRun{Outcome: scheduling.RunDone, StartedAt: batch.Start, EndedAt: batch.End}
	change(&in)
	return call(b, b.steward, func(ctx context.Context, tx pgx.Tx, s lab.Scope, in scheduling.NewRun) (scheduling.Run, error) {
		return scheduling.RecordRun(ctx, tx, s, batch.ID, in)
	}, in)
}

// readAt is a reading of the first step's temperatures.
func readAt(start, end units.Temperature) *chemistry.Reading {
	return &chemistry.Reading{Steps: []chemistry.StepReading{{Step: 1, TemperatureStart: &start, TemperatureEnd: &end}}}
}

func TestAColourDeveloperOffItsTemperatureIsRefused(t *testing.T) {
	b := newBench(t)
	batch := b.planned(2)
	preview := func(at units.Temperature) (scheduling.RunSheet, error) {
		return call(b, b.steward, func(ctx context.Context, tx pgx.Tx, s lab.Scope, at units.Temperature) (scheduling.RunSheet, error) {
			return scheduling.FindRunSheet(ctx, tx, s, batch.ID, &at)
		}, at)
	}
	_, err := preview(39_000)
	b.refused("developer-out-of-tolerance", err)
	sheet, err := preview(38_000)
	if err != nil || sheet.Steps[0].Source == "" || len(sheet.Steps[0].Working) != 2 || sheet.Steps[0].SolutionML != 500 {
		t.Errorf("%+v, %v", sheet.Steps[0], err)
	}
	for name, r := range map[string]*chemistry.Reading{"at its start": readAt(39_000, 38_000), "at its end": readAt(38_000, 36_000)} {
		_, err := b.recordWith(batch, func(in *scheduling.NewRun) { in.Readings = r })
		if b.refused("developer-out-of-tolerance", err); b.batchOf(batch.Rolls[0].Roll).Status != scheduling.BatchPlanned {
			t.Errorf("%s: something changed", name)
		}
	}
	run, err := b.recordWith(batch, func(in *scheduling.NewRun) {
		in.Readings, in.Override = readAt(38_000, 36_000), "the film was in already"
	})
	if err != nil {
		t.Fatal(err)
	}
	if run.Override.Because != "the film was in already" || len(run.Override.Against) != 1 || len(run.Readings) != 1 {
		t.Errorf("%+v", run)
	}
	if w := run.Readings[0].Warnings; len(w) != 1 || w[0].Code != "temperature" || w[0].Step != 1 {
		t.Errorf("warns %+v", w)
	}
}

func TestARunOnADeadOrKeptBathTakesAWrittenOverride(t *testing.T) {
	b := newBench(t)
	batch := b.planned(2)
	set := *batch.BathSet
	bath := must(b, b.steward, func(ctx context.Context, tx pgx.Tx, s lab.Scope, id string) (chemistry.BathSet, error) {
		return chemistry.FindBathSet(ctx, tx, s.Lab.ID, id, s.Now)
	}, set).Baths[2]
	b.at(batch.Start)
	b.quarantine(bath.ID, "smells of acid")
	b.at(batch.End)
	_, err := b.record(batch, scheduling.RunDone)
	b.refused("bath-quarantined", err)
	if sheet, err := b.sheet(batch); err != nil || !slices.ContainsFunc(sheet.Warnings, func(w chemistry.Warning) bool { return w.Code == "quarantined" }) {
		t.Errorf("the sheet warns of %+v, %v", sheet.Warnings, err)
	}
	_, err = b.recordWith(batch, func(in *scheduling.NewRun) { in.Override = "" })
	b.refused("bath-quarantined", err)
	run, err := b.recordWith(batch, func(in *scheduling.NewRun) { in.Override = "only the caretaker's test roll" })
	if err != nil {
		t.Fatal(err)
	}
	again := must(b, b.steward, func(ctx context.Context, tx pgx.Tx, s lab.Scope, id string) (scheduling.Run, error) {
		return scheduling.FindRun(ctx, tx, s.Lab.ID, id)
	}, run.ID)
	if again.Override.Because != "only the caretaker's test roll" || len(again.Override.Against) != 1 {
		t.Errorf("kept %+v", again.Override)
	}
}

func TestReadingsMayFollowARun(t *testing.T) {
	b := newBench(t)
	run, err := b.record(b.planned(1), scheduling.RunDone)
	if err != nil || run.Override != nil || len(run.Readings) != 0 {
		t.Fatalf("%+v, %v", run, err)
	}
	read := func(in chemistry.Reading) (scheduling.RunReading, error) {
		return call(b, b.steward, func(ctx context.Context, tx pgx.Tx, s lab.Scope, in chemistry.Reading) (scheduling.RunReading, error) {
			return scheduling.ReadRun(ctx, tx, s, run.ID, in)
		}, in)
	}
	long := 12 * units.Minute
	got, err := read(chemistry.Reading{Steps: []chemistry.StepReading{{Step: 5, Time: &long}}})
	if err != nil || len(got.Warnings) != 1 || got.Warnings[0].Code != "time" {
		t.Errorf("bleach-fix for 12:00: %+v, %v", got, err)
	}
	_, err = read(chemistry.Reading{Control: []chemistry.DensityReading{{Measure: "ld", OffHundredths: 9}}})
	if r := b.refused("invalid", err); r.Faults[0].Code != "no-such-measure" {
		t.Errorf("%+v", r.Faults)
	}
	_, err = read(chemistry.Reading{Steps: []chemistry.StepReading{{Step: 9}}})
	b.refused("invalid", err)
}

func TestTrace(t *testing.T) {
	b := newBench(t)
	first := b.planned(2)
	run, err := b.record(first, scheduling.RunSpoiled)
	if err != nil {
		t.Fatal(err)
	}
	b.at(b.steward.Now.Add(12 * time.Hour))
	second := b.planned(3)
	if _, err := b.record(second, scheduling.RunDone); err != nil {
		t.Fatal(err)
	}
	trace := func(of string) scheduling.Trace { return must(b, b.steward, scheduling.FindTrace, of) }
	links := func(tr scheduling.Trace) map[scheduling.TraceLink]int {
		n := map[scheduling.TraceLink]int{}
		for _, r := range tr.Rolls {
			n[r.Link]++
		}
		return n
	}
	bad := trace(first.Rolls[0].Roll)
	if n := links(bad); len(bad.Kits) != 1 || len(bad.Baths) != 4 || len(bad.Runs) != 2 || n[scheduling.TraceItself] != 1 || n[scheduling.TraceRun] != 1 || n[scheduling.TraceBaths] != 3 {
		t.Errorf("from the bad roll: %+v, rolls %v", bad, n)
	}
	// And back: from each thing that it found, the bad roll is found.
	for _, of := range []string{run.ID, bad.Baths[1].ID, bad.Kits[0].ID, second.Rolls[0].Roll} {
		back := trace(of)
		if !slices.ContainsFunc(back.Rolls, func(r scheduling.TracedRoll) bool {
			return r.ID == first.Rolls[0].Roll && r.Status == scheduling.Spoiled && r.Run == run.ID
		}) || len(back.Rolls) != 5 {
			t.Errorf("from %s: %+v", of, back.Rolls)
		}
	}
	waiting := b.roll(b.ana, "135-36", "reversal-3")
	if tr := trace(waiting.ID); len(tr.Rolls) != 1 || len(tr.Runs) != 0 {
		t.Errorf("a roll on the shelf has touched %+v", tr)
	}
	_, err = call(b, b.steward, scheduling.FindTrace, "kit_none")
	b.refused("not-found", err)
}

// A lab whose table of temperatures reaches below the developer's own gives
// the planner the time that the coldest developer takes.
func TestPlanningCountsWithTheColdestDeveloper(t *testing.T) {
	t.Parallel()
	for _, p := range chemistry.BuiltInProcesses() {
		if p.Code != "bw-negative" {
			continue
		}
		p.Temperatures = []chemistry.TemperaturePoint{{Temperature: 18_000, Permille: 1185}, {Temperature: 20_000, Permille: 1000}, {Temperature: 24_000, Permille: 704}}
		cold, err := p.AtTemperature(18_000)
		if err != nil {
			t.Fatal(err)
		}
		asked := p.Schedule(0, 8*units.Minute, nil, cold).Wet
		if worst := p.WorstSchedule(0, 8*units.Minute).Wet; worst < asked {
			t.Errorf("planned for %s, a cold developer takes %s", worst, asked)
		}
	}
}
