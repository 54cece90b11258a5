package chemistry_test

import (
	"testing"

	"pgregory.net/rapid"

	"wetside/chemistry"
)

// byRate is worn with a rate in place of its table: a fortieth more a roll.
func byRate() chemistry.BathDefinition {
	d := worn()
	d.Correction, d.AreaMM2 = nil, nil
	d.CorrectionRate = &chemistry.CorrectionRate{PermillePerRoll: 25, UntilMM2PerL: 8 * chemistry.RollEquivalentMM2}
	return d
}

func TestCorrectionByRate(t *testing.T) {
	t.Parallel()
	d := byRate()
	if capacity, ok := d.Capacity(); !ok || capacity != 8*chemistry.RollEquivalentMM2 {
		t.Errorf("its end is at %d mm²", capacity)
	}
	for rolls, want := range map[int64]int64{0: 1000, 1: 1025, 4: 1100, 8: 1200} {
		f, ok, err := d.Factor(rolls * chemistry.RollEquivalentMM2)
		if err != nil || !ok || f.Permille != want || f.Source != "the kit's rate of correction" {
			t.Errorf("after %d rolls a litre: %+v, %v", rolls, f, err)
		}
	}
	if _, _, err := d.Factor(9 * chemistry.RollEquivalentMM2); err == nil {
		t.Error("it goes past its end")
	}
	if worst := chemistry.WorstFactors(d)["first-developer"]; worst.Permille != 1200 {
		t.Errorf("worst %d", worst.Permille)
	}
}

// A rate and the table that it is answer alike.
func TestARateIsATable(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		rate := chemistry.CorrectionRate{PermillePerRoll: rapid.Int64Range(1, 100).Draw(rt, "rate"),
			UntilMM2PerL: chemistry.RollEquivalentMM2 * rapid.Int64Range(1, 20).Draw(rt, "rolls")}
		by, table := byRate(), byRate()
		by.CorrectionRate = &rate
		table.CorrectionRate = nil
		table.Correction = chemistry.Correction{{MM2PerL: 0, Permille: 1000}, {MM2PerL: rate.UntilMM2PerL, Permille: 1000 + rate.PermillePerRoll*rate.UntilMM2PerL/chemistry.RollEquivalentMM2}}
		used := rapid.Int64Range(0, rate.UntilMM2PerL).Draw(rt, "used")
		x, _, err := by.Factor(used)
		y, _, _ := table.Factor(used)
		if err != nil || x.Permille != y.Permille {
			rt.Fatalf("%d by rate, %d by table, %v", x.Permille, y.Permille, err)
		}
	})
}

func TestCorrectionRateFaults(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		change func(*chemistry.BathDefinition)
		code   string
	}{
		"beside a table":     {func(d *chemistry.BathDefinition) { d.Correction = worn().Correction }, "two-corrections"},
		"of a one-shot bath": {func(d *chemistry.BathDefinition) { d.Use = chemistry.OneShot }, "not-reused"},
		"falling":            {func(d *chemistry.BathDefinition) { d.CorrectionRate.PermillePerRoll = -1 }, "out-of-range"},
		"without end":        {func(d *chemistry.BathDefinition) { d.CorrectionRate.UntilMM2PerL = 10_000_000_001 }, "out-of-range"},
		"beyond all measure": {func(d *chemistry.BathDefinition) { d.CorrectionRate.PermillePerRoll = 1_000 }, "out-of-range"},
	} {
		k := reversalKit()
		k.Baths[0] = byRate()
		c.change(&k.Baths[0])
		if fs := k.Validate(process(t, "reversal-3"), "EUR"); len(fs) != 1 || fs[0].Code != c.code {
			t.Errorf("%s: %v, want %s", name, fs, c.code)
		}
	}
}
