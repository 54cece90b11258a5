package scheduling_test

import (
	"context"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"

	"wetside/lab"
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

// opening adds an opening of the bench's tank.
func (b *bench) opening(rule, starts string, lasts units.Duration) scheduling.ChangedOpening {
	b.t.Helper()
	return must(b, b.steward, scheduling.AddOpening, scheduling.NewOpening{
		Rule: rule, Starts: starts, Lasts: lasts, Tank: b.tank.ID, Operator: b.steward.By.ID})
}

func (b *bench) reopen(o scheduling.Opening, in scheduling.OpeningChange) scheduling.ChangedOpening {
	b.t.Helper()
	return must(b, b.steward, func(ctx context.Context, tx pgx.Tx, s lab.Scope, in scheduling.OpeningChange) (scheduling.ChangedOpening, error) {
		return scheduling.ChangeOpening(ctx, tx, s, o.ID, o.Version, in)
	}, in)
}

func (b *bench) ahead() (out scheduling.CalendarChange) {
	b.t.Helper()
	b.do(func(ctx context.Context, tx pgx.Tx) (err error) {
		out, err = scheduling.OpenAhead(ctx, tx, b.steward)
		return err
	})
	return out
}

func (b *bench) keep(in scheduling.CalendarSettings) scheduling.ChangedCalendar {
	b.t.Helper()
	return must(b, b.steward, func(ctx context.Context, tx pgx.Tx, s lab.Scope, in scheduling.CalendarSettings) (scheduling.ChangedCalendar, error) {
		c, err := scheduling.ReadCalendar(ctx, tx, s.Lab.ID)
		if err != nil {
			return scheduling.ChangedCalendar{}, err
		}
		return scheduling.ChangeCalendar(ctx, tx, s, c.Version, in)
	}, in)
}

func (b *bench) week(week string) scheduling.CalendarChange {
	b.t.Helper()
	return must(b, b.steward, scheduling.OpenWeek, scheduling.NewWeek{Week: week})
}

func ptr[T any](v T) *T { return &v }

func starts(all []scheduling.Session) (out []string) {
	for _, e := range all {
		out = append(out, e.Start.UTC().Format(time.RFC3339))
	}
	return out
}

func TestOpenWeekKeepsWallClock(t *testing.T) {
	b := newBench(t)
	b.at(time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC))
	b.opening("FREQ=WEEKLY;BYDAY=SA", "18:00", 3*units.Hour)
	early := b.opening("FREQ=WEEKLY;BYDAY=SU", "01:30", units.Hour) // skipped on 28 March 2027
	got := b.week("2027-W12")
	if diff := cmp.Diff([]string{"2027-03-27T18:00:00Z", "2027-03-28T01:30:00Z"}, starts(got.Sessions)); diff != "" {
		t.Error("the week with the change", diff)
	}
	note := scheduling.OccurrenceNote{Opening: early.ID, Day: "2027-03-28", Code: "clocks-moved",
		Detail: "the clocks skip 01:30 that day; it begins at 02:30 on 28 March"}
	if diff := cmp.Diff([]scheduling.OccurrenceNote{note}, got.Moved); diff != "" {
		t.Error("what the clocks skip", diff)
	}
	if got = b.week("2027-W13"); !slices.Equal(starts(got.Sessions), []string{"2027-04-03T17:00:00Z", "2027-04-04T00:30:00Z"}) {
		t.Errorf("the week after has sessions %v", starts(got.Sessions))
	}
	if again := b.week("2027-W12"); len(again.Sessions)+len(again.Changed)+len(again.CalledOff) != 0 {
		t.Errorf("opening the week again changed %+v", again)
	}
	// By the other rule the session is left out, and told.
	dropped := b.keep(scheduling.CalendarSettings{SkippedHour: ptr(scheduling.DropSkipped)}).Change
	if !slices.Equal(starts(dropped.CalledOff), []string{"2027-03-28T01:30:00Z"}) || len(dropped.Skipped) != 1 || dropped.Skipped[0].Code != "clocks-skip" {
		t.Errorf("dropping what the clocks skip changed %+v", dropped)
	}
	// The hour that happens twice is once, the first time.
	if got = b.week("2027-W43"); starts(got.Sessions)[1] != "2027-10-31T00:30:00Z" || len(got.Sessions) != 2 {
		t.Errorf("in the week with the hour twice there are %v", starts(got.Sessions))
	}
}

func TestTheCalendarInOtherZones(t *testing.T) {
	for _, tt := range []struct {
		zone, now, rule, clock string
		days                   int
		rule2                  scheduling.SkippedHour
		want                   []string
		told                   []string
	}{
		// Half an hour is skipped, and half an hour is twice.
		{"Australia/Lord_Howe", "2027-10-02T00:00:00+10:30", "FREQ=DAILY", "02:15", 2, scheduling.MoveSkipped,
			[]string{"2027-10-02T02:15:00+10:30", "2027-10-03T02:45:00+11:00"}, []string{"clocks-moved"}},
		{"Australia/Lord_Howe", "2027-04-03T00:00:00+11:00", "FREQ=DAILY", "01:45", 2, scheduling.MoveSkipped,
			[]string{"2027-04-03T01:45:00+11:00", "2027-04-04T01:45:00+11:00"}, nil},
		{"America/New_York", "2027-03-13T00:00:00-05:00", "FREQ=DAILY", "02:30", 2, scheduling.DropSkipped,
			[]string{"2027-03-13T02:30:00-05:00"}, []string{"clocks-skip"}},
		// A day that never was: moved, it would be the next day's; its tank is taken then.
		{"Pacific/Apia", "2011-12-29T00:00:00-10:00", "FREQ=DAILY", "18:00", 3, scheduling.MoveSkipped,
			[]string{"2011-12-29T18:00:00-10:00", "2011-12-31T18:00:00+14:00"}, []string{"tank-taken", "clocks-moved"}},
		{"Pacific/Apia", "2011-12-29T00:00:00-10:00", "FREQ=DAILY", "18:00", 3, scheduling.DropSkipped,
			[]string{"2011-12-29T18:00:00-10:00", "2011-12-31T18:00:00+14:00"}, []string{"clocks-skip"}},
		// Ramadan moves Morocco's clocks back and forth.
		{"Africa/Casablanca", "2025-04-05T00:00:00Z", "FREQ=DAILY", "02:30", 3, scheduling.MoveSkipped,
			[]string{"2025-04-05T02:30:00Z", "2025-04-06T03:30:00+01:00", "2025-04-07T02:30:00+01:00"}, []string{"clocks-moved"}},
		{"UTC", "2027-03-27T00:00:00Z", "FREQ=DAILY", "01:30", 2, scheduling.MoveSkipped,
			[]string{"2027-03-27T01:30:00Z", "2027-03-28T01:30:00Z"}, nil},
	} {
		t.Run(tt.zone+" "+tt.now+" "+string(tt.rule2), func(t *testing.T) {
			b := newBench(t)
			now, err := time.Parse(time.RFC3339, tt.now)
			if err != nil {
				t.Fatal(err)
			}
			b.at(now)
			b.do(func(ctx context.Context, tx pgx.Tx) error {
				l, err := lab.Change(ctx, tx, b.steward, b.steward.Lab.Version, lab.Settings{TimeZone: &tt.zone})
				b.steward.Lab = l
				return err
			})
			b.opening(tt.rule, tt.clock, 20*units.Minute)
			got := b.keep(scheduling.CalendarSettings{DaysAhead: &tt.days, SkippedHour: &tt.rule2}).Change
			var have, told []string
			for _, e := range got.Sessions {
				have = append(have, e.Start.In(b.steward.Lab.Location()).Format(time.RFC3339))
			}
			for _, n := range slices.Concat(got.Skipped, got.Moved) {
				told = append(told, n.Code)
			}
			if !slices.Equal(have, tt.want) || !slices.Equal(told, tt.told) {
				t.Errorf("sessions %v, told %v", have, told)
			}
			if again := b.ahead(); len(again.Sessions)+len(again.Changed)+len(again.CalledOff) > 0 {
				t.Errorf("again: %+v", again)
			}
		})
	}
}

func TestAChangedOpeningLeavesBookedSessionsAlone(t *testing.T) {
	b := newBench(t)
	o := b.opening("FREQ=WEEKLY;BYDAY=WE,FR", "10:00", 4*units.Hour)
	b.week("2027-W23") // Wednesday 9 and Friday 11 June
	b.week("2027-W24")
	all := b.listed()
	wednesday := all[slices.IndexFunc(all, func(e scheduling.Session) bool { return e.Start.Day() == 9 })]
	roll := b.roll(b.ana, "135-36", "reversal-3")
	booking := must(b, b.ana, scheduling.Book, scheduling.NewBooking{Session: wednesday.ID, Rolls: []string{roll.ID}})
	got := b.reopen(o.Opening, scheduling.OpeningChange{Starts: ptr("11:00"), Rule: ptr("FREQ=WEEKLY;BYDAY=WE")})
	c := got.Change
	if len(c.Kept) != 1 || c.Kept[0].Session.ID != wednesday.ID || !c.Kept[0].Session.Start.Equal(wednesday.Start) {
		t.Errorf("kept %+v", c.Kept)
	}
	if !slices.Equal(starts(c.Changed), []string{"2027-06-16T10:00:00Z"}) ||
		!slices.Equal(starts(c.CalledOff), []string{"2027-06-11T09:00:00Z", "2027-06-18T09:00:00Z"}) || len(c.Sessions) != 0 {
		t.Errorf("changed %v, called off %v, made %v", starts(c.Changed), starts(c.CalledOff), starts(c.Sessions))
	}
	// Once nobody holds a place in it, it follows.
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		_, err := scheduling.CancelBooking(ctx, tx, b.ana, booking.ID, booking.Version)
		return err
	})
	if c = b.week("2027-W23"); !slices.Equal(starts(c.Changed), []string{"2027-06-09T10:00:00Z"}) || c.Changed[0].ID != wednesday.ID {
		t.Errorf("free again, it is %+v", c)
	}
	// A session called off by hand stays off.
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		_, err := scheduling.CancelSession(ctx, tx, b.steward, wednesday.ID, c.Changed[0].Version)
		return err
	})
	if c = b.week("2027-W23"); len(c.Sessions)+len(c.Changed) != 0 || len(c.Skipped) != 1 || c.Skipped[0].Code != "called-off" {
		t.Errorf("called off by hand, it is %+v", c)
	}
	end := must(b, b.steward, func(ctx context.Context, tx pgx.Tx, s lab.Scope, id string) (scheduling.CalendarChange, error) {
		return scheduling.EndOpening(ctx, tx, s, id, got.Version)
	}, o.ID)
	if !slices.Equal(starts(end.CalledOff), []string{"2027-06-16T10:00:00Z"}) {
		t.Errorf("its end calls off %v", starts(end.CalledOff))
	}
}

func (b *bench) listed() []scheduling.Session {
	b.t.Helper()
	var out lab.List[scheduling.Session]
	b.do(func(ctx context.Context, tx pgx.Tx) (err error) {
		out, err = scheduling.ListSessions(ctx, tx, b.steward, b.steward.Now, b.steward.Now.AddDate(2, 0, 0), lab.Page{Limit: 5000})
		return err
	})
	return out.Items
}

func TestClosuresAndExtraDays(t *testing.T) {
	b := newBench(t)
	o := b.opening("FREQ=WEEKLY;BYDAY=WE", "10:00", 4*units.Hour)
	b.keep(scheduling.CalendarSettings{DaysAhead: ptr(21)})
	closed := must(b, b.steward, scheduling.Close, scheduling.NewClosure{FromDay: "2027-06-14", UntilDay: "2027-06-20", Reason: "holidays"})
	if !slices.Equal(starts(closed.Change.CalledOff), []string{"2027-06-16T09:00:00Z"}) || closed.Change.Skipped[0].Detail != "closed: holidays" {
		t.Errorf("the closure %+v", closed.Change)
	}
	inside := must(b, b.steward, scheduling.AddExtraDay, scheduling.NewExtraDay{Opening: o.ID, Day: "2027-06-18"})
	if len(inside.Change.Sessions) != 0 || inside.Change.Skipped[0].Code != "closed" {
		t.Errorf("an extra day within a closure: %+v", inside.Change)
	}
	other := must(b, b.steward, scheduling.AddExtraDay, scheduling.NewExtraDay{Opening: o.ID, Day: "2027-06-23", Starts: ptr("15:00"), Lasts: ptr(units.Hour)})
	if !slices.Equal(starts(other.Change.Changed), []string{"2027-06-23T14:00:00Z"}) {
		t.Errorf("a day at another time: %+v", other.Change)
	}
	_, err := call(b, b.steward, scheduling.AddExtraDay, scheduling.NewExtraDay{Opening: o.ID, Day: "2027-06-23"})
	b.refused("extra-day-exists", err)
	_, err = call(b, b.steward, scheduling.Close, scheduling.NewClosure{FromDay: "2027-06-01", UntilDay: "2027-06-06", Reason: "past"})
	b.refused("day-over", err)
	_, err = call(b, b.steward, scheduling.AddExtraDay, scheduling.NewExtraDay{Opening: o.ID, Day: "2027-06-06"})
	b.refused("day-over", err)
	again := must(b, b.steward, func(ctx context.Context, tx pgx.Tx, s lab.Scope, id string) (scheduling.CalendarChange, error) {
		return scheduling.Reopen(ctx, tx, s, id)
	}, closed.ID)
	if !slices.Equal(starts(again.Changed), []string{"2027-06-16T09:00:00Z"}) || !slices.Equal(starts(again.Sessions), []string{"2027-06-18T09:00:00Z"}) {
		t.Errorf("reopened, %+v", again)
	}
	back := must(b, b.steward, scheduling.CancelExtraDay, other.ID)
	if !slices.Equal(starts(back.Changed), []string{"2027-06-23T09:00:00Z"}) {
		t.Errorf("without the extra day, %+v", back)
	}
	// A closure of one tank leaves others open.
	tank := must(b, b.steward, lab.AddTank, lab.NewTank{Name: "Other", HeightMM: 205, VolumeML: 1500, HeaterW: 500,
		ReelKinds: []string{"spiral-35"}, CleanUp: 10 * units.Minute, Flush: 5 * units.Minute})
	must(b, b.steward, scheduling.AddOpening, scheduling.NewOpening{Rule: "FREQ=WEEKLY;BYDAY=WE", Starts: "10:00", Lasts: units.Hour,
		Tank: tank.ID, Operator: b.steward.By.ID})
	one := must(b, b.steward, scheduling.Close, scheduling.NewClosure{FromDay: "2027-06-16", Tank: &tank.ID, Reason: "repair"})
	if len(one.Change.CalledOff) != 1 || one.Change.CalledOff[0].Tank != tank.ID {
		t.Errorf("closing one tank calls off %+v", one.Change.CalledOff)
	}
}

func TestOpeningsThatCannotBe(t *testing.T) {
	b := newBench(t)
	b.opening("FREQ=WEEKLY;BYDAY=WE", "10:00", 4*units.Hour)
	good := scheduling.NewOpening{Rule: "FREQ=DAILY;BYDAY=TU", Starts: "18:00", Lasts: units.Hour, Tank: b.tank.ID, Operator: b.steward.By.ID}
	for name, c := range map[string]struct {
		change   func(*scheduling.NewOpening)
		code, at string
	}{
		"no rule":            {func(o *scheduling.NewOpening) { o.Rule = "weekly" }, "invalid", "/rule"},
		"a million hours":    {func(o *scheduling.NewOpening) { o.Rule = "FREQ=HOURLY;COUNT=1000000" }, "invalid", "/rule"},
		"a million days":     {func(o *scheduling.NewOpening) { o.Rule = "FREQ=DAILY;COUNT=1000000" }, "invalid", "/rule"},
		"no day ever":        {func(o *scheduling.NewOpening) { o.Rule = "FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30" }, "invalid", "/rule"},
		"no day any more":    {func(o *scheduling.NewOpening) { o.Rule, o.FirstDay = "FREQ=DAILY;COUNT=3", "2027-05-01" }, "invalid", "/rule"},
		"until without zone": {func(o *scheduling.NewOpening) { o.Rule = "FREQ=DAILY;UNTIL=20271231T220000" }, "invalid", "/rule"},
		"no day":             {func(o *scheduling.NewOpening) { o.FirstDay = "2027-02-30" }, "invalid", "/first_day"},
		"long ago":           {func(o *scheduling.NewOpening) { o.FirstDay = "2001-01-01" }, "invalid", "/first_day"},
		"time with zone":     {func(o *scheduling.NewOpening) { o.Starts = "18:00Z" }, "invalid", "/starts"},
		"no operator":        {func(o *scheduling.NewOpening) { o.Operator = "" }, "invalid", "/operator"},
		"overlap":            {func(o *scheduling.NewOpening) { o.Rule, o.Starts = "FREQ=MONTHLY;BYDAY=1WE", "13:59" }, "openings-overlap", "/rule"},
		"over midnight":      {func(o *scheduling.NewOpening) { o.Starts, o.Lasts = "20:00", 15*units.Hour }, "openings-overlap", "/rule"},
	} {
		in := good
		c.change(&in)
		_, err := call(b, b.steward, scheduling.AddOpening, in)
		if r := b.refused(c.code, err); len(r.Faults) == 0 || r.Faults[0].Pointer != c.at {
			t.Errorf("%s: %v", name, r)
		}
	}
	good.Rule, good.Starts = "FREQ=MONTHLY;BYDAY=1WE", "14:00" // begins as the other ends
	must(b, b.steward, scheduling.AddOpening, good)
}

// Days opened by many at once, and by the clock going back and forth, have each
// session once.
func TestOpeningDaysInARace(t *testing.T) {
	b := newBench(t)
	b.opening("FREQ=DAILY", "05:00", units.Hour)
	b.keep(scheduling.CalendarSettings{DaysAhead: ptr(0)})
	var wg sync.WaitGroup
	made := make(chan int, 24)
	for range 12 {
		wg.Go(func() { made <- len(b.week("2027-W24").Sessions) })
		wg.Go(func() { made <- len(b.ahead().Sessions) })
	}
	wg.Wait()
	close(made)
	total := 0
	for n := range made {
		total += n
	}
	if total != 7 {
		t.Errorf("%d sessions were made of a week", total)
	}
	b.keep(scheduling.CalendarSettings{DaysAhead: ptr(14)})
	for _, jump := range []int{5, -3, 30, 0} {
		b.at(monday.AddDate(0, 0, jump))
		b.ahead()
	}
	b.at(monday)
	seen := map[time.Time]bool{}
	for _, e := range b.listed() {
		if e.CancelledAt == nil && seen[e.Start] {
			t.Errorf("two sessions at %v", e.Start)
		}
		seen[e.Start] = true
	}
	if len(seen) < 14+3 {
		t.Errorf("%d sessions", len(seen))
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
