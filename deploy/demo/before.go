package demo

import (
	"context"
	"fmt"
	"time"

	"wetside/scheduling"
)

// weeksBefore lives through the weeks before: rolls are handed in, planned,
// committed, run, dried and collected.
func (s *story) weeksBefore() error {
	for _, t := range s.past.Turns {
		if t.Open != "" {
			if err := s.when(t.Open, "open a week", func(ctx context.Context) error { return s.openWeek(ctx, t.Week) }); err != nil {
				return err
			}
		}
		for _, r := range t.Rolls {
			if err := s.handIn(r); err != nil {
				return err
			}
		}
		if err := s.when(t.Plan, "plan a week", func(ctx context.Context) error { return s.planned(ctx, t) }); err != nil {
			return err
		}
		if t.Collect != "" {
			if err := s.when(t.Collect, "collect", s.collect); err != nil {
				return err
			}
		}
	}
	b := s.past.Breakdown
	if err := s.when(b.At, "a tank breaks down", s.breakDown); err != nil {
		return err
	}
	return s.when(b.Mended, "a tank is mended", func(ctx context.Context) error { return s.outOfOrder(ctx, b.Tank, false) })
}

// openWeek makes a week's sessions; every opening must make one.
func (s *story) openWeek(ctx context.Context, n int) error {
	year, number := s.cal.week(n).ISOWeek()
	var opened scheduling.CalendarChange
	in := scheduling.NewWeek{Week: fmt.Sprintf("%04d-W%02d", year, number)}
	if err := s.people[stewardKey].post(ctx, s.in("weeks"), in, &opened); err != nil {
		return err
	}
	if len(opened.Sessions) != len(s.coop.Openings) {
		return fmt.Errorf("week %s has %d sessions, want one of each opening; skipped: %+v", in.Week, len(opened.Sessions), opened.Skipped)
	}
	s.say("week %s is open: %d sessions", in.Week, len(opened.Sessions))
	return nil
}

// makePlan plans from now to the end of a week.
func (s *story) makePlan(ctx context.Context, from time.Time, week int) (plan scheduling.Plan, etag string, err error) {
	return s.makePlanBy(ctx, from, week, false)
}

// makePlanBy makes a plan or, after a breakdown, has what stands repaired.
func (s *story) makePlanBy(ctx context.Context, from time.Time, week int, repair bool) (plan scheduling.Plan, etag string, err error) {
	in := map[string]any{
		"from": from.UTC(), "until": s.cal.week(week + 1).UTC(), "seed": 1, "budget": "PT30S", "iterations": s.iterations, "repair": repair,
	}
	etag, err = s.people[stewardKey].call(ctx, "POST", s.in("plans"), "", in, &plan)
	if err != nil {
		return plan, "", err
	}
	s.told.Plans = append(s.told.Plans, plan)
	placed := 0
	for _, b := range plan.Batches {
		placed += len(b.Rolls)
	}
	proved := len(plan.Levels)
	for _, l := range plan.Levels {
		if !l.Proved() {
			proved--
		}
	}
	s.say("a plan: %s, %s, %d left out; %d of %d levels proved", count(len(plan.Batches), "batch", "batches"),
		count(placed, "roll", "rolls"), len(plan.LeftOut), proved, len(plan.Levels))
	return plan, etag, nil
}

// commit makes a plan the lab's and gives its batches.
func (s *story) commit(ctx context.Context, plan scheduling.Plan, etag string) (scheduling.Plan, []scheduling.Batch, error) {
	steward := s.people[stewardKey]
	var done scheduling.Plan
	if _, err := steward.call(ctx, "POST", s.in("plans", plan.ID, "commitment"), etag, nil, &done); err != nil {
		return done, nil, err
	}
	batches, err := all[scheduling.Batch](ctx, steward.client, s.in("batches")+"?status=planned")
	return done, batches, err
}

// planned plans a turn and takes that up.
func (s *story) planned(ctx context.Context, t turn) error {
	plan, etag, err := s.makePlan(ctx, s.setup.clock.now, t.Week)
	if err != nil {
		return err
	}
	return s.takeUp(ctx, plan, etag)
}

// takeUp commits a plan, and enters its runs in the diary.
func (s *story) takeUp(ctx context.Context, plan scheduling.Plan, etag string) error {
	plan, batches, err := s.commit(ctx, plan, etag)
	if err != nil {
		return err
	}
	for _, id := range plan.Replaces {
		s.replaced[id] = true
	}
	for _, b := range batches {
		if b.Plan == plan.ID {
			s.diary.add(b.End.Add(5*time.Minute), "record a run", func(ctx context.Context) error { return s.record(ctx, b) })
		}
	}
	return nil
}

// record records a batch as run by its sheet, unless another has taken its place.
func (s *story) record(ctx context.Context, b scheduling.Batch) error {
	if s.replaced[b.ID] {
		return nil
	}
	steward := s.people[stewardKey]
	var sheet scheduling.RunSheet
	if _, err := steward.get(ctx, s.in("batches", b.ID, "run-sheet"), &sheet); err != nil {
		return err
	}
	in := scheduling.NewRun{Outcome: scheduling.RunDone, StartedAt: b.Wet.UTC(), EndedAt: b.End.UTC()}
	for _, p := range sheet.Timeline {
		if p.Phase == "wet" {
			in.EndedAt = p.End.UTC()
		}
	}
	for _, pl := range b.Rolls {
		if note := s.spoil[pl.Roll]; note != "" {
			in.Outcome, in.Note = scheduling.RunSpoiled, note
		}
	}
	if b.Process == "bw-negative" {
		in.PouredTo = "county collection point" // its developer is used once
	}
	in.Readings = readings(sheet, in.Outcome == scheduling.RunSpoiled)
	var run scheduling.Run
	if in.Outcome == scheduling.RunSpoiled {
		if err := s.recordSpoiled(ctx, sheet, in, &run); err != nil {
			return err
		}
	} else if err := steward.post(ctx, s.in("batches", b.ID, "run"), in, &run); err != nil {
		return err
	}
	s.told.Runs = append(s.told.Runs, run)
	s.say("%s%s, %s: %s", b.Process, pushed(b.Push), count(len(b.Rolls), "roll", "rolls"), run.Outcome)
	return s.dries(ctx, b.Rolls[0].Roll)
}

// dries looks at a roll that was just run, and again once it is dry.
func (s *story) dries(ctx context.Context, id string) error {
	steward := s.people[stewardKey]
	var roll scheduling.Roll
	if _, err := steward.get(ctx, s.in("rolls", id), &roll); err != nil {
		return err
	}
	if roll.Status == scheduling.Spoiled {
		return nil
	}
	s.told.Drying = append(s.told.Drying, roll)
	s.diary.add(roll.DryAt.Add(time.Second), "see a dry roll", func(ctx context.Context) error {
		var dry scheduling.Roll
		_, err := steward.get(ctx, s.in("rolls", id), &dry)
		s.told.Ready = append(s.told.Ready, dry)
		return err
	})
	return nil
}

// collect hands every dry or spoiled roll back.
func (s *story) collect(ctx context.Context) error {
	steward := s.people[stewardKey]
	for _, status := range []scheduling.RollStatus{scheduling.Ready, scheduling.Spoiled} {
		rolls, err := all[scheduling.Roll](ctx, steward.client, s.in("rolls")+"?status="+string(status))
		if err != nil {
			return err
		}
		for _, r := range rolls {
			if err := steward.post(ctx, s.in("rolls", r.ID, "collection"), nil, nil); err != nil {
				return err
			}
		}
	}
	return nil
}
