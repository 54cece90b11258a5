package chemistry_test

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"wetside/chemistry"
)

// demand is a run of some rolls so many days after mixing.
func demand(days, rolls int64) chemistry.Demand {
	return chemistry.Demand{At: mixed.Add(time.Duration(days) * day), Load: chemistry.Load{AreaMM2: rolls * chemistry.RollEquivalentMM2, SolutionML: 500}}
}

func TestOutlook(t *testing.T) {
	t.Parallel()
	fresh := chemistry.Wear{VolumeLeftML: 1_000, ExpiresAt: mixed.Add(14 * day)}
	with := func(change func(*chemistry.BathDefinition)) chemistry.BathDefinition {
		d := worn() // eight rolls, fourteen days
		change(&d)
		return d
	}
	plain := with(func(*chemistry.BathDefinition) {})
	for _, c := range []struct {
		behaviour string
		bath      chemistry.BathDefinition
		wear      chemistry.Wear
		demands   []chemistry.Demand
		binds     chemistry.Limit
		diesAfter time.Duration
		rolls     int64 // of margin
		booked    int64
	}{
		{"nobody books: it dies of age", plain, fresh, nil, chemistry.LimitLife, 14 * day, 8, 0},
		{"the third run is more than is left", plain, fresh, []chemistry.Demand{demand(1, 3), demand(2, 3), demand(3, 3)}, chemistry.LimitArea, 3 * day, 2, 2},
		{"given in any order", plain, fresh, []chemistry.Demand{demand(3, 3), demand(1, 3), demand(2, 3)}, chemistry.LimitArea, 3 * day, 2, 2},
		{"four a week last two weeks, to the hour of age", plain, fresh, []chemistry.Demand{demand(7, 4)}, chemistry.LimitLife, 14 * day, 0, 1},
		{"six a week do not", plain, fresh, []chemistry.Demand{demand(7, 6)}, chemistry.LimitArea, 7*day + 7*day/3, 0, 1},
		{"what is booked too late is not its own", plain, fresh, []chemistry.Demand{demand(15, 8)}, chemistry.LimitLife, 14 * day, 8, 0},
		{"runs may bind", with(func(d *chemistry.BathDefinition) { d.Runs = ptr[int64](2) }), fresh,
			[]chemistry.Demand{demand(1, 1), demand(2, 1), demand(3, 1)}, chemistry.LimitRuns, 3 * day, 6, 2},
		{"a one-shot bath ends by volume", with(func(d *chemistry.BathDefinition) { d.Use, d.Correction = chemistry.OneShot, nil }), fresh,
			[]chemistry.Demand{demand(1, 1), demand(2, 1), demand(3, 1)}, chemistry.LimitVolume, 0, 6, 0},
		{"a dead one is dead", plain, chemistry.Wear{VolumeLeftML: 1_000, ExpiresAt: mixed.Add(-day)}, nil, chemistry.LimitLife, -day, 8, 0},
	} {
		got := c.bath.Outlook(c.wear, c.demands, mixed)
		if c.binds == chemistry.LimitVolume {
			c.diesAfter, c.booked = 3*day, 2 // the two before took all of it
		}
		if got.BindsFirst != c.binds || !got.DiesAt.Equal(mixed.Add(c.diesAfter)) || *got.Margin.AreaMM2/chemistry.RollEquivalentMM2 != c.rolls || got.BookedRuns != c.booked {
			t.Errorf("%s: %s at %s, margin %d mm², %d booked; want %s after %s, %d rolls, %d", c.behaviour,
				got.BindsFirst, got.DiesAt, *got.Margin.AreaMM2, got.BookedRuns, c.binds, c.diesAfter, c.rolls, c.booked)
		}
	}
}

// A bath never outlives its life, more demand never makes it live longer, and
// its margins are never below nothing.
func TestOutlookIsMonotone(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		d := anyBath(rt)
		w := chemistry.Wear{VolumeLeftML: d.VolumeML, ExpiresAt: mixed.Add(d.Life.Std())}
		var demands []chemistry.Demand
		for range rapid.IntRange(0, 5).Draw(rt, "demands") {
			l := anyLoad(rt)
			demands = append(demands, chemistry.Demand{At: mixed.Add(time.Duration(rapid.Int64Range(0, 20).Draw(rt, "day")) * day), Load: l})
		}
		got := d.Outlook(w, demands, mixed)
		if got.DiesAt.After(w.ExpiresAt) || got.Margin.Life < 0 || got.Margin.AreaMM2 != nil && *got.Margin.AreaMM2 < 0 || got.Margin.Runs != nil && *got.Margin.Runs < 0 {
			rt.Fatalf("%+v", got)
		}
		if none := d.Outlook(w, nil, mixed); none.DiesAt.Before(got.DiesAt) {
			rt.Fatalf("dies at %s without demand, at %s with it", none.DiesAt, got.DiesAt)
		}
	})
}

func TestMoreRolls(t *testing.T) {
	t.Parallel()
	roll := int64(chemistry.RollEquivalentMM2)
	w := chemistry.Wear{AreaMM2: 3 * roll, Runs: 1, VolumeLeftML: 1_000, ExpiresAt: mixed.Add(14 * day)}
	for _, c := range []struct {
		behaviour string
		change    func(*chemistry.BathDefinition)
		area      int64
		want      int64
		binds     chemistry.Limit
		bounded   bool
	}{
		{"five of eight are left", func(*chemistry.BathDefinition) {}, roll, 5, chemistry.LimitArea, true},
		{"two loads of 2.36 rolls", func(*chemistry.BathDefinition) {}, 121_554, 2, chemistry.LimitArea, true},
		{"one run of two", func(d *chemistry.BathDefinition) { d.Runs, d.RunMM2PerL = ptr[int64](2), ptr(2*roll) }, roll, 2, chemistry.LimitRuns, true},
		{"by volume", func(d *chemistry.BathDefinition) { d.Use, d.Correction = chemistry.OneShot, nil }, roll, 3, chemistry.LimitVolume, true},
		{"without end but age", func(d *chemistry.BathDefinition) { d.AreaMM2, d.Correction = nil, nil }, roll, 0, chemistry.LimitLife, false},
	} {
		d := worn()
		c.change(&d)
		got, binds, bounded := d.MoreRolls(w, c.area, 300, mixed)
		if got != c.want || binds != c.binds || bounded != c.bounded {
			t.Errorf("%s: %d by %s, %v; want %d by %s", c.behaviour, got, binds, bounded, c.want, c.binds)
		}
	}
	if n, binds, _ := worn().MoreRolls(w, roll, 300, mixed.Add(15*day)); n != 0 || binds != chemistry.LimitLife {
		t.Errorf("an expired bath takes %d more, by %s", n, binds)
	}
}

func TestWhenTheFirstDevelopersTimePassesItsLongest(t *testing.T) {
	t.Parallel()
	s := step(t, "reversal-6", "first-developer")
	s.Longest = ms(6, 45) // 1125 ‰: half-way between four and six rolls
	got := worn().TimeLimit(s, 2*chemistry.RollEquivalentMM2)
	if got.Now != ms(6, 18) || got.MoreMM2 == nil {
		t.Fatalf("%+v", got)
	}
	d := worn()
	for more, past := range map[int64]bool{*got.MoreMM2 - 1: false, *got.MoreMM2: true} {
		f, _, err := d.Factor(2*chemistry.RollEquivalentMM2 + more)
		if err != nil || chemistry.Corrected(s.Time, f) > s.Longest != past {
			t.Errorf("after %d mm² more: %+v, %v", more, f, err)
		}
	}
	s.Longest = ms(9, 0)
	if never := d.TimeLimit(s, 0); never.MoreMM2 != nil {
		t.Errorf("the table ends at 7:12, yet passes 9:00 after %d mm²", *never.MoreMM2)
	}
	if none := d.TimeLimit(step(t, "bw-negative", "developer"), 0); none != nil {
		t.Errorf("a film's own time has no longest: %+v", none)
	}
}
