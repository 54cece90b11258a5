package chemistry_test

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"wetside/chemistry"
	"wetside/lab/units"
)

var mixed = time.Date(2026, 11, 2, 18, 0, 0, 0, time.UTC)

func ptr[T any](v T) *T { return &v }

func TestLeft(t *testing.T) {
	t.Parallel()
	full := func(d chemistry.BathDefinition) chemistry.Wear {
		return chemistry.Wear{VolumeLeftML: d.VolumeML, ExpiresAt: mixed.Add(d.Life.Std())}
	}
	roll := int64(chemistry.RollEquivalentMM2)
	for _, c := range []struct {
		behaviour string
		change    func(*chemistry.BathDefinition, *chemistry.Wear)
		after     units.Duration
		state     chemistry.BathState
		first     chemistry.Limit
		area      int64
	}{
		{"fresh: all is whole, area is told first", func(*chemistry.BathDefinition, *chemistry.Wear) {}, 0, chemistry.Good, chemistry.LimitArea, 8 * roll},
		{"half its life gone, no film", func(*chemistry.BathDefinition, *chemistry.Wear) {}, 7 * units.Day, chemistry.Good, chemistry.LimitLife, 8 * roll},
		{"three quarters used, half its life", func(_ *chemistry.BathDefinition, w *chemistry.Wear) { w.AreaMM2 = 6 * roll }, 7 * units.Day, chemistry.Good, chemistry.LimitArea, 2 * roll},
		{"runs bind before area", func(d *chemistry.BathDefinition, w *chemistry.Wear) {
			d.Runs, w.Runs, w.AreaMM2 = ptr[int64](4), 3, roll
		}, 0, chemistry.Good, chemistry.LimitRuns, 7 * roll},
		{"all its area used", func(_ *chemistry.BathDefinition, w *chemistry.Wear) { w.AreaMM2 = 8 * roll }, 0, chemistry.Exhausted, chemistry.LimitArea, 0},
		{"overdrawn is not less than nothing", func(_ *chemistry.BathDefinition, w *chemistry.Wear) { w.AreaMM2 = 9 * roll }, 0, chemistry.Exhausted, chemistry.LimitArea, 0},
		{"all its runs made", func(d *chemistry.BathDefinition, w *chemistry.Wear) { d.Runs, w.Runs = ptr[int64](4), 4 }, 0, chemistry.Exhausted, chemistry.LimitRuns, 8 * roll},
		{"a table that ends early ends the bath", func(d *chemistry.BathDefinition, _ *chemistry.Wear) { d.Correction = d.Correction[:3] }, 0, chemistry.Good, chemistry.LimitArea, 4 * roll},
		{"good to the last instant of its life", func(*chemistry.BathDefinition, *chemistry.Wear) {}, 14 * units.Day, chemistry.Good, chemistry.LimitLife, 8 * roll},
		{"expired after it", func(*chemistry.BathDefinition, *chemistry.Wear) {}, 14*units.Day + 1, chemistry.Expired, chemistry.LimitLife, 8 * roll},
		{"expired goes before exhausted", func(_ *chemistry.BathDefinition, w *chemistry.Wear) { w.AreaMM2 = 8 * roll }, 15 * units.Day, chemistry.Expired, chemistry.LimitLife, 0},
		{"discarded goes before all", func(_ *chemistry.BathDefinition, w *chemistry.Wear) { w.DiscardedAt = &mixed }, 15 * units.Day, chemistry.Discarded, "", 8 * roll},
	} {
		d := worn()
		w := full(d)
		c.change(&d, &w)
		got := d.Left(w, mixed.Add(c.after.Std()))
		if got.State != c.state || got.BindsFirst != c.first || got.AreaMM2 == nil || *got.AreaMM2 != c.area {
			t.Errorf("%s: %s, %q binds first, %v mm²; want %s, %q, %d", c.behaviour, got.State, got.BindsFirst, *got.AreaMM2, c.state, c.first, c.area)
		}
	}
}

func TestOneShotIsPouredAway(t *testing.T) {
	t.Parallel()
	d := chemistry.BathDefinition{Role: "developer", Use: chemistry.OneShot, VolumeML: 2_000, Life: units.Day, RunMM2PerL: ptr[int64](2 * chemistry.RollEquivalentMM2)}
	w := chemistry.Wear{VolumeLeftML: 2_000, ExpiresAt: mixed.Add(24 * time.Hour)}
	byReels := chemistry.Load{AreaMM2: chemistry.RollEquivalentMM2, SolutionML: 600}
	byFilm := chemistry.Load{AreaMM2: 2*chemistry.RollEquivalentMM2 + 1, SolutionML: 600}
	if got := d.Draw(byReels); got != 600 {
		t.Errorf("what covers the reels: %d mL, want 600", got)
	}
	if got := d.Draw(byFilm); got != 1_001 {
		t.Errorf("what the film needs, rounded up: %d mL, want 1001", got)
	}
	w = d.After(w, byFilm)
	if fs := d.Carries(w, byReels); len(fs) != 0 || w.VolumeLeftML != 999 {
		t.Errorf("999 mL carry another run: %v, %d", fs, w.VolumeLeftML)
	}
	if fs := d.Carries(w, byFilm); len(fs) != 1 || fs[0].Code != "volume-left" {
		t.Errorf("but not the same one: %v", fs)
	}
	w.VolumeLeftML = 0
	if got := d.Left(w, mixed); got.State != chemistry.Exhausted || got.BindsFirst != chemistry.LimitVolume || got.AreaMM2 != nil {
		t.Errorf("empty: %+v", got)
	}
}

func TestCarries(t *testing.T) {
	t.Parallel()
	roll := int64(chemistry.RollEquivalentMM2)
	for _, c := range []struct {
		behaviour string
		used      int64
		runs      int64
		load      chemistry.Load
		want      []string
	}{
		{"to the last mm²", 6 * roll, 0, chemistry.Load{AreaMM2: 2 * roll, SolutionML: 1_000}, nil},
		{"and no further", 6*roll + 1, 0, chemistry.Load{AreaMM2: 2 * roll, SolutionML: 1_000}, []string{"area-left"}},
		{"the last run", 0, 3, chemistry.Load{AreaMM2: roll, SolutionML: 1_000}, nil},
		{"and no further run", 0, 4, chemistry.Load{AreaMM2: roll, SolutionML: 1_000}, []string{"runs-left"}},
		{"reels not covered", 0, 0, chemistry.Load{AreaMM2: roll, SolutionML: 1_001}, []string{"volume-left"}},
		{"more at once than the volume carries", 0, 0, chemistry.Load{AreaMM2: 4*roll + 1, SolutionML: 1_000}, []string{"run-load"}},
		{"several at once", 8 * roll, 4, chemistry.Load{AreaMM2: 5 * roll, SolutionML: 2_000}, []string{"area-left", "runs-left", "volume-left", "run-load"}},
	} {
		d := worn()
		d.Runs, d.RunMM2PerL = ptr[int64](4), ptr(4*roll)
		var got []string
		for _, f := range d.Carries(chemistry.Wear{AreaMM2: c.used, Runs: c.runs, VolumeLeftML: d.VolumeML}, c.load) {
			got = append(got, f.Code)
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.behaviour, got, c.want)
		}
	}
}

// Kodak Z-119, section 2, Table 2-1: first developer 200 mL/ft², which is
// 2,153 mL/m²; 25 US gal (94,635 mL) last for 475 ft² as printed (±0.5 %).
func TestReplenisher(t *testing.T) {
	t.Parallel()
	d := chemistry.BathDefinition{Role: "first-developer", Use: chemistry.Replenished, VolumeML: 10_000, ReplenishMLPerM2: ptr[int64](2_153)}
	const ft2 = 92_903 // mm²
	if got := d.Replenisher(chemistry.Load{AreaMM2: ft2}); got < 200 || got > 201 {
		t.Errorf("a square foot: %d mL, want 200", got)
	}
	if got := d.Replenisher(chemistry.Load{AreaMM2: 475 * ft2}); got < 94_635*995/1000 || got > 94_635*1005/1000 {
		t.Errorf("475 ft²: %d mL, want 25 US gal", got)
	}
	d.Use = chemistry.Reused
	if got := d.Replenisher(chemistry.Load{AreaMM2: ft2}); got != 0 {
		t.Errorf("a reused bath is topped up by %d mL", got)
	}
}

func anyBath(rt *rapid.T) chemistry.BathDefinition {
	d := chemistry.BathDefinition{
		Role: "developer", VolumeML: rapid.Int64Range(100, 20_000).Draw(rt, "volume"),
		Use:  rapid.SampledFrom([]chemistry.BathUse{chemistry.Reused, chemistry.OneShot, chemistry.Replenished}).Draw(rt, "use"),
		Life: units.Duration(rapid.Int64Range(3_600, 10_000_000).Draw(rt, "life")),
	}
	if rapid.Bool().Draw(rt, "has area") {
		d.AreaMM2 = ptr(rapid.Int64Range(1, 10_000_000).Draw(rt, "area"))
	}
	if rapid.Bool().Draw(rt, "has runs") {
		d.Runs = ptr(rapid.Int64Range(1, 20).Draw(rt, "runs"))
	}
	if rapid.Bool().Draw(rt, "has load") {
		d.RunMM2PerL = ptr(rapid.Int64Range(1, 1_000_000).Draw(rt, "load"))
	}
	if d.Use == chemistry.Reused && rapid.Bool().Draw(rt, "has correction") {
		d.Correction = anyCorrection(rt)
	}
	return d
}

func anyLoad(rt *rapid.T) chemistry.Load {
	return chemistry.Load{AreaMM2: rapid.Int64Range(1, 500_000).Draw(rt, "film"), SolutionML: rapid.Int64Range(1, 3_000).Draw(rt, "solution")}
}

// What is left never grows, by a run or by the hours; a run that is carried
// leaves nothing below zero; and a bath that is not good is not good again.
func TestBathLifeNeverGrows(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		d := anyBath(rt)
		now := mixed
		w := chemistry.Wear{VolumeLeftML: d.VolumeML, ExpiresAt: mixed.Add(d.Life.Std())}
		before := d.Left(w, now)
		for range rapid.IntRange(1, 12).Draw(rt, "events") {
			if l := anyLoad(rt); len(d.Carries(w, l)) == 0 {
				w = d.After(w, l)
			}
			now = now.Add(time.Duration(rapid.Int64Range(0, 3_000_000).Draw(rt, "seconds")) * time.Second)
			left := d.Left(w, now)
			if capacity, ok := d.Capacity(); w.VolumeLeftML < 0 || ok && w.AreaMM2 > capacity || d.Runs != nil && w.Runs > *d.Runs {
				rt.Fatalf("overdrawn: %+v of %+v", w, d)
			}
			if left.VolumeML > before.VolumeML || left.AreaMM2 != nil && *left.AreaMM2 > *before.AreaMM2 || left.Runs != nil && *left.Runs > *before.Runs {
				rt.Fatalf("more is left: %+v after %+v", left, before)
			}
			if before.State != chemistry.Good && left.State == chemistry.Good {
				rt.Fatalf("good again after %s", before.State)
			}
			if left.State == chemistry.Good && left.BindsFirst == "" {
				rt.Fatal("something binds first")
			}
			before = left
		}
	})
}

func TestOrderOfRunsDoesNotMatter(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		d := anyBath(rt)
		loads := rapid.SliceOfN(rapid.Custom(anyLoad), 1, 6).Draw(rt, "loads")
		end := func(loads []chemistry.Load) (chemistry.Wear, bool) {
			w := chemistry.Wear{VolumeLeftML: d.VolumeML}
			carried := true
			for _, l := range loads {
				carried = carried && len(d.Carries(w, l)) == 0
				w = d.After(w, l)
			}
			return w, carried
		}
		w1, ok1 := end(loads)
		w2, ok2 := end(rapid.Permutation(loads).Draw(rt, "order"))
		if w1 != w2 || ok1 != ok2 {
			rt.Fatalf("%+v carried %v, in another order %+v carried %v", w1, ok1, w2, ok2)
		}
	})
}
