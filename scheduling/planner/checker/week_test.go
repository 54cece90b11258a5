package checker_test

import (
	"slices"
	"testing"
	"time"

	"wetside/lab/units"
	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

// A week is the problem and plan of testdata, with handles to change them by.
type week struct {
	*planner.Problem
	plan *planner.Plan
}

func newWeek(tb testing.TB) *week {
	tb.Helper()
	p, plan := load(tb)
	return &week{p, plan}
}

// find is the element with that id; it panics when there is none, since then
// the test is wrong.
func find[T any](list []T, id func(T) string, want string) *T {
	i := slices.IndexFunc(list, func(v T) bool { return id(v) == want })
	return &list[i]
}

func (w *week) batch(id string) *planner.Batch {
	return find(w.plan.Batches, func(v planner.Batch) string { return v.ID }, id)
}

func (w *week) level(name string) *planner.Level {
	return find(w.plan.Levels, func(v planner.Level) string { return v.Name }, name)
}

func (w *week) tank(id string) *planner.Tank {
	return find(w.Tanks, func(v planner.Tank) string { return v.ID }, id)
}

func (w *week) reel(kind string) *planner.ReelKind {
	return find(w.Reels, func(v planner.ReelKind) string { return v.Kind }, kind)
}

func (w *week) cabinet(id string) *planner.Cabinet {
	return find(w.Cabinets, func(v planner.Cabinet) string { return v.ID }, id)
}

func (w *week) session(id string) *planner.Session {
	return find(w.Sessions, func(v planner.Session) string { return v.ID }, id)
}

func (w *week) class(id string) *planner.Class {
	return find(w.Classes, func(v planner.Class) string { return v.ID }, id)
}

func (w *week) bath(id string) *planner.Bath {
	return find(w.Baths, func(v planner.Bath) string { return v.ID }, id)
}

func (w *week) set(id string) *planner.BathSet {
	return find(w.BathSets, func(v planner.BathSet) string { return v.ID }, id)
}

func (w *week) roll(id string) *planner.Roll {
	return find(w.Rolls, func(v planner.Roll) string { return v.ID }, id)
}

// shift moves a batch, whole.
func shift(b *planner.Batch, by units.Duration) {
	b.Start = b.Start.Add(by.Std())
	b.Wet = b.Wet.Add(by.Std())
	shiftEnd(b, by)
}

// shiftEnd moves a batch's end and what follows it.
func shiftEnd(b *planner.Batch, by units.Duration) {
	b.End = b.End.Add(by.Std())
	b.Clear = b.Clear.Add(by.Std())
	for i := range b.Rolls {
		b.Rolls[i].DryAt = b.Rolls[i].DryAt.Add(by.Std())
	}
}

// at is an instant of the week, as "02 17:55:00".
func at(s string) time.Time {
	t, err := time.Parse("2006-01-02 15:04:05", "2026-03-"+s)
	if err != nil {
		panic(err)
	}
	return t
}

// besideWednesday moves batch b5 to the small tank on the Wednesday, to begin at
// an instant while b4 has the big tank, in baths that may be in two runs.
func (w *week) besideWednesday(start time.Time) {
	w.Sessions = append(w.Sessions, planner.Session{
		ID: "wed-small", Tank: "small-tank", Operator: "op-c",
		Window: planner.Window{Start: at("04 17:00:00"), End: at("04 22:00:00")},
	})
	w.bath("new-dev").OneShot = true
	w.bath("new-blix").OneShot = true
	w.Pins[0].Session = "wed-small"
	b := w.batch("b5")
	b.Session, b.Tank = "wed-small", "small-tank"
	b.Start, b.Wet = start, start.Add(30*time.Minute)
	b.End = b.Wet.Add(42 * time.Minute)
	b.Clear = b.End.Add(15 * time.Minute)
	b.Rolls[0].DryAt = b.End.Add(4 * time.Hour)
	w.level("finish").Value = 264000 // now m1 on the rack
}

// rules are the numbers of the rules broken, each once.
func rules(found []checker.Violation) []int {
	var out []int
	for _, v := range found {
		out = append(out, v.Rule)
	}
	slices.Sort(out)
	return slices.Compact(out)
}
