package scheduling_test

import (
	"testing"
	"time"

	"wetside/lab/units"
	"wetside/scheduling"
)

func TestMonday(t *testing.T) {
	t.Parallel()
	// Examples of ISO 8601 week dates: 1 January 2005 is in 2004-W53, 31 December 2007 in 2008-W01.
	for week, want := range map[string]string{
		"2004-W53": "2004-12-27", "2008-W01": "2007-12-31", "2026-W01": "2025-12-29", "2026-W49": "2026-11-30", "2020-W53": "2020-12-28",
	} {
		got, err := scheduling.Monday(week)
		if err != nil || got.Format(time.DateOnly) != want {
			t.Errorf("%s begins on %s, %v; want %s", week, got, err, want)
		}
	}
	for _, week := range []string{"2026-W54", "2026-W00", "2027-W53", "2026W49", "26-W49", "2026-W4", ""} {
		if got, err := scheduling.Monday(week); err == nil {
			t.Errorf("%q begins on %s, want a refusal", week, got)
		}
	}
}

func TestOpenWeekKeepsWallClock(t *testing.T) {
	b := newBench(t)
	for _, o := range []scheduling.NewOpening{
		{Weekday: 6, Starts: "18:00", Lasts: 3 * units.Hour},
		{Weekday: 7, Starts: "01:30", Lasts: units.Hour}, // skipped on 28 March 2027
	} {
		o.Tank, o.Operator = b.tank.ID, b.steward.By.ID
		must(b, b.steward, scheduling.AddOpening, o)
	}
	b.at(time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC))
	starts := map[string]string{"2027-W12": "2027-03-27T18:00:00Z", "2027-W13": "2027-04-03T17:00:00Z"}
	for week, want := range starts {
		got := must(b, b.steward, scheduling.OpenWeek, scheduling.NewWeek{Week: week})
		if len(got.Sessions) == 0 || got.Sessions[0].Start.UTC().Format(time.RFC3339) != want {
			t.Errorf("%s has sessions %v, want the first at %s", week, got.Sessions, want)
		}
	}
	again := must(b, b.steward, scheduling.OpenWeek, scheduling.NewWeek{Week: "2027-W12"})
	if len(again.Sessions) != 0 || len(again.Skipped) != 2 {
		t.Fatalf("opening the week again made %v and skipped %v", again.Sessions, again.Skipped)
	}
	if why := again.Skipped[1].Detail; why != "the clocks skip 01:30 that day" {
		t.Errorf("the hour that the clocks skip: %q", why)
	}
}

func TestSessionsOfATankDoNotOverlap(t *testing.T) {
	b := newBench(t)
	start := b.sessions[0].Start
	in := func(from, to time.Duration) scheduling.NewSession {
		return scheduling.NewSession{Tank: b.tank.ID, Operator: b.steward.By.ID, Start: start.Add(from), End: start.Add(to)}
	}
	_, err := call(b, b.steward, scheduling.AddSession, in(-time.Hour, time.Second))
	b.refused("tank-taken", err)
	// Touching is not overlapping.
	must(b, b.steward, scheduling.AddSession, in(-time.Hour, 0))
	// An empty range overlaps nothing, which is why it is refused before the database sees it.
	_, err = call(b, b.steward, scheduling.AddSession, in(time.Hour, time.Hour))
	b.refused("invalid", err)
	_, err = b.pool.Exec(t.Context(), `INSERT INTO sessions (lab_id, id, tank_id, operator_id, during, processes)
		VALUES ($1, 'session_x', $2, $3, 'empty', '{}')`, b.steward.Lab.ID, b.tank.ID, b.steward.By.ID)
	if err == nil {
		t.Error("the database took an empty session")
	}
}
