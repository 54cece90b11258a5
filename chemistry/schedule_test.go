package chemistry_test

import (
	"errors"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"wetside/chemistry"
	"wetside/lab/units"
)

// worn is a first developer of one litre that carries eight rolls, its time
// growing by a twentieth for each two.
func worn() chemistry.BathDefinition {
	area := int64(8 * chemistry.RollEquivalentMM2)
	d := chemistry.BathDefinition{Role: "first-developer", Use: chemistry.Reused, VolumeML: 1_000, AreaMM2: &area, Life: 14 * units.Day}
	for i := range int64(5) {
		d.Correction = append(d.Correction, chemistry.CorrectionPoint{MM2PerL: 2 * i * chemistry.RollEquivalentMM2, Permille: 1000 + 50*i})
	}
	return d
}

func TestCorrection(t *testing.T) {
	t.Parallel()
	c := worn().Correction
	for _, row := range []struct{ use, want int64 }{
		{0, 1000}, {2 * chemistry.RollEquivalentMM2, 1050}, {8 * chemistry.RollEquivalentMM2, 1200},
		{chemistry.RollEquivalentMM2, 1025}, {3 * chemistry.RollEquivalentMM2, 1075}, {1, 1000}, {-5, 1000},
	} {
		if got, err := c.Permille(row.use); err != nil || got != row.want {
			t.Errorf("at %d mm² per litre: %d, %v; want %d", row.use, got, err, row.want)
		}
	}
	_, err := c.Permille(8*chemistry.RollEquivalentMM2 + 1)
	var f chemistry.Fault
	if !errors.As(err, &f) || f.Code != "correction-ends" {
		t.Errorf("past the end: %v, want correction-ends", err)
	}
	if got, err := chemistry.Correction(nil).Permille(1 << 40); err != nil || got != 1000 {
		t.Errorf("no table: %d, %v", got, err)
	}
}

func anyCorrection(rt *rapid.T) chemistry.Correction {
	var c chemistry.Correction
	use, permille := int64(0), rapid.Int64Range(500, 1_500).Draw(rt, "first permille")
	for range rapid.IntRange(2, 8).Draw(rt, "points") {
		c = append(c, chemistry.CorrectionPoint{MM2PerL: use, Permille: permille})
		use += rapid.Int64Range(1, 500_000).Draw(rt, "more use")
		permille += rapid.Int64Range(0, 400).Draw(rt, "more permille")
	}
	return c
}

func TestCorrectionPassesThroughItsPointsAndNeverFalls(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		c := anyCorrection(rt)
		for _, p := range c {
			if got, err := c.Permille(p.MM2PerL); err != nil || got != p.Permille {
				rt.Fatalf("at point %+v: %d, %v", p, got, err)
			}
		}
		end, _ := c.End()
		a := rapid.Int64Range(0, end).Draw(rt, "a")
		b := rapid.Int64Range(a, end).Draw(rt, "b")
		less, err1 := c.Permille(a)
		more, err2 := c.Permille(b)
		if err1 != nil || err2 != nil || less > more {
			rt.Fatalf("%d permille at %d and %d at %d (%v, %v)", less, a, more, b, err1, err2)
		}
		base := units.Duration(rapid.Int64Range(1, 7_200).Draw(rt, "base"))
		if chemistry.Corrected(base, chemistry.Factor{Permille: less}) > chemistry.Corrected(base, chemistry.Factor{Permille: more}) {
			rt.Fatalf("less time at more use")
		}
	})
}

func TestCorrectedRoundsOnce(t *testing.T) {
	t.Parallel()
	f := func(permille int64) chemistry.Factor { return chemistry.Factor{Permille: permille} }
	add := func(d units.Duration) chemistry.Factor { return chemistry.Factor{Add: d} }
	for _, c := range []struct {
		base    units.Duration
		factors []chemistry.Factor
		want    units.Duration
	}{
		{195, nil, 195},
		{195, []chemistry.Factor{f(1000)}, 195},
		{360, []chemistry.Factor{f(1075)}, 387},
		{10, []chemistry.Factor{f(1050)}, 11}, // 10.5 rounds up
		{10, []chemistry.Factor{f(1049)}, 10},
		{7, []chemistry.Factor{f(1100), f(1100)}, 8},     // 8.47; rounding twice would give 9
		{195, []chemistry.Factor{f(1100), add(30)}, 248}, // (195 + 30) × 1.1 = 247.5
		{1, []chemistry.Factor{f(200)}, 1},
	} {
		if got := chemistry.Corrected(c.base, c.factors...); got != c.want {
			t.Errorf("%d with %+v: %d, want %d", c.base, c.factors, got, c.want)
		}
	}
}

func TestSchedulePushedAndWorn(t *testing.T) {
	t.Parallel()
	p, d := process(t, "reversal-6"), worn()
	developing, err := p.Developing(1, nil)
	if err != nil {
		t.Fatal(err)
	}
	f, ok, err := d.Factor(3 * chemistry.RollEquivalentMM2)
	if err != nil || !ok {
		t.Fatal(ok, err)
	}
	s := p.Schedule(1, developing, map[string]chemistry.Factor{d.Role: f})
	first := s.Steps[0]
	if first.Base != ms(6, 0) || first.Time != ms(8, 36) { // 8:00 × 1.075
		t.Errorf("first developer %s from %s, want 8:36 from 6:00", first.Time, first.Base)
	}
	if len(first.Working) != 2 || first.Working[0].Add != ms(2, 0) || first.Working[1].Permille != 1075 {
		t.Errorf("working %+v", first.Working)
	}
	for _, w := range first.Working {
		if w.Source == "" || w.Name == "" {
			t.Errorf("%+v does not say what it is and where it comes from", w)
		}
	}
	if want := ms(33, 0) + ms(2, 36); s.Wet != want {
		t.Errorf("wet for %s, want %s", s.Wet, want)
	}
	if s.Steps[1].Begins != first.Time || s.Steps[1].Number != 2 {
		t.Errorf("the second step begins at %s", s.Steps[1].Begins)
	}
	if want := []chemistry.Span{{From: s.Wet - ms(1, 0), To: s.Wet}}; !slices.Equal(s.Hands(), want) {
		t.Errorf("hands %v, want %v", s.Hands(), want)
	}
}

func TestHandsOfTheBackingAndTheFinalRinse(t *testing.T) {
	t.Parallel()
	p := process(t, "ecn-2")
	want := []chemistry.Span{{From: ms(1, 0), To: ms(1, 30)}, {From: ms(13, 30), To: ms(14, 30)}}
	if got := p.Schedule(0, ms(3, 0), nil).Hands(); !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
	two := p
	two.Steps = slices.Clone(p.Steps)
	two.Steps[0].ByHand = true
	if got := two.Schedule(0, ms(3, 0), nil).Hands(); len(got) != 2 || got[0] != (chemistry.Span{To: ms(1, 30)}) {
		t.Errorf("two steps by hand in a row: %v", got)
	}
}

func TestAFilmsOwnTimeIsTheBase(t *testing.T) {
	t.Parallel()
	s := process(t, "bw-negative").Schedule(2, ms(14, 0), nil)
	if first := s.Steps[0]; first.Base != ms(14, 0) || first.Time != ms(14, 0) || len(first.Working) != 0 {
		t.Errorf("developer %+v", first)
	}
	// SS0509, p. 18 from the rinse on: 0:30, 2:00, 5:00, 1:00.
	if want := ms(14, 0) + ms(5, 30) + ms(8, 30); s.Wet != want {
		t.Errorf("wet for %s, want %s", s.Wet, want)
	}
}

// Steps follow each other without gaps, and no run in a bath takes longer than
// the worst that planning counts with.
func TestScheduleIsClosedAndWorstIsAnUpperBound(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		p := process(t, rapid.SampledFrom([]string{"reversal-6", "reversal-3", "c-41"}).Draw(rt, "process"))
		push := rapid.SampledFrom(p.Pushes).Draw(rt, "push")
		area := rapid.Int64Range(1, 5_000_000).Draw(rt, "area")
		d := chemistry.BathDefinition{Role: p.DeveloperStep().Role, Use: chemistry.Reused, Correction: anyCorrection(rt),
			VolumeML: rapid.Int64Range(100, 20_000).Draw(rt, "volume"), AreaMM2: &area}
		capacity, _ := d.Capacity()
		f, ok, err := d.Factor(rapid.Int64Range(0, capacity).Draw(rt, "used"))
		if err != nil || !ok {
			rt.Fatalf("within its capacity a bath's factor is %v, %v", ok, err)
		}
		s := p.Schedule(push.Stops, push.Developing, map[string]chemistry.Factor{d.Role: f})
		at := units.Duration(0)
		for _, step := range s.Steps {
			if step.Begins != at || step.Ends != at+step.Time {
				rt.Fatalf("%+v does not follow at %s", step, at)
			}
			at = step.Ends
		}
		worst := p.Schedule(push.Stops, push.Developing, chemistry.WorstFactors(d, chemistry.BathDefinition{Role: "fixer"}))
		if s.Wet != at || worst.Wet < s.Wet {
			rt.Fatalf("wet for %s, steps end at %s, worst %s", s.Wet, at, worst.Wet)
		}
	})
}
