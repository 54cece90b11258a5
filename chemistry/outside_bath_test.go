package chemistry_test

import (
	"fmt"
	"slices"
	"testing"

	"wetside/chemistry"
	"wetside/lab/units"
)

func outsideBaths() []outside {
	const (
		ti2443 = "Kodak TI2443 rev. 01-00"
		z119   = "Kodak Z-119, section 2, Table 2-1"
	)
	var checks []outside
	for _, row := range []struct {
		role   string
		n      int
		tenths [5]int64
		within int64
	}{
		{"first-developer", 0, [5]int64{700, 1000, 2000, 4000, 10000}, 0},
		{"reversal-bath", 0, [5]int64{88, 125, 250, 500, 1250}, 0},
		{"colour-developer", 0, [5]int64{500, 713, 1425, 2850, 7125}, 1}, // 49.875 is printed as 50
		{"colour-developer", 1, [5]int64{165, 235, 470, 940, 2350}, 0},
		{"pre-bleach", 0, [5]int64{245, 350, 700, 1400, 3500}, 0},
		{"bleach", 0, [5]int64{1085, 1550, 3100, 6200, 15500}, 0},
		{"fixer", 0, [5]int64{245, 350, 700, 1400, 3500}, 0},
		{"stabiliser", 0, [5]int64{35, 50, 100, 200, 500}, 0},
	} {
		c := chemistry.ReversalConcentrates(row.role)[row.n]
		for i, volume := range []int64{350, 500, 1000, 2000, 5000} {
			checks = append(checks, outside{ti2443, fmt.Sprintf("%s for %d mL, tenths of a mL", c.Name, volume), c.TenthsML(volume), row.tenths[i], row.within})
		}
	}
	kit := []chemistry.BathDefinition{{Role: "first-developer", VolumeML: 1000, Concentrates: chemistry.ReversalConcentrates("first-developer")}}
	for volume, want := range map[int64]int64{350: 2100, 1000: 6000, 5000: 30000} {
		checks = append(checks, outside{ti2443, fmt.Sprintf("water to start with for %d mL, tenths of a mL", volume),
			chemistry.TableFor(kit, volume).Baths[0].StartWaterTenths, want, 0})
	}
	for i, want := range []struct{ rate, perM2, perRoll int64 }{
		{200, 2153, 1111}, {100, 1076, 556}, {200, 2153, 1111}, {100, 1076, 556}, {20, 215, 111}, {100, 1076, 556}, {100, 1076, 556},
	} {
		r := chemistry.ReversalReplenishment()[i]
		checks = append(checks,
			outside{z119, r.Role + " replenisher, mL/ft²", r.MLPerFT2, want.rate, 0},
			outside{z119 + ", in another unit", r.Role + " replenisher, mL/m²", r.MLPerM2(), want.perM2, 0},
			outside{z119 + ", for 80 in²", r.Role + " replenisher, tenths of a mL a roll", r.TenthsMLPerRoll(), want.perRoll, 1},
			outside{z119 + ", to 0.5 %", r.Role + ", film that a mix replenishes for, tenths of a ft²", r.CoversTenthsFT2(), r.FT2 * 10, r.FT2 * 10 / 200})
	}
	return append(checks,
		outside{"Kodak J-86, second-hand: 44.4 mL a roll; a replenished bath, four rolls", "four rolls take four times a roll's replenisher, mL",
			replenished(860, 4*chemistry.RollEquivalentMM2), 178, 1},
		outside{"Kodak H-24.09 (2006): 690 mL for 100 ft of 35 mm, half for 16 mm", "400 ft of 16 mm, cine print developer, mL", chemistry.PerLength(690, 121_920, true), 1_380, 0},
		outside{"Kodak H-24.09 (2006): 690 mL for 100 ft of 35 mm", "400 ft of 35 mm, cine print developer, mL", chemistry.PerLength(690, 121_920, false), 2_760, 0},
		outside{"Kodak TI2497 (1999): 650 mL for 100 ft of 35 mm", "100 ft of 35 mm in D-97, mL", chemistry.PerLength(650, 30_480, false), 650, 0},
		outside{"notes on photography, second-hand: 16 rolls in 5 L", "rolls that 5 L of colour negative developer carry at once", atOnce(165_162, 5_000), 16, 0},
		outside{"width × width: 15.95 of 34.975 mm; Kodak H-24.09 takes one half", "area of 16 mm film, ‰ of as much 35 mm", 15_950 * 1000 / 34_975, 456, 0},
		outside{"US Army SS0514, p. 2-15: 3.84 fl oz", "two days' standing of a US gallon, tenths of a mL", chemistry.AgeingTopUpTenthsML(37_854), 1_136, 0},
		outside{"common practice", "life of developer in a half-full bottle, ‰ of a full one's", chemistry.Storage{FullPermille: 500, Seal: chemistry.Airtight}.LifePermille("developer"), 500, 0},
		outside{"common practice", "life of developer in a half-full squeezed bottle, ‰ of a full one's", chemistry.Storage{FullPermille: 500, Seal: chemistry.Displaced}.LifePermille("developer"), 1000, 0},
		outside{"US Army SS0514, p. 2-15: iron bleach wants air", "life of bleach in a half-full bottle, ‰", chemistry.Storage{FullPermille: 500, Seal: chemistry.Loose}.LifePermille("bleach"), 1000, 0},
	)
}

// atOnce is how many rolls a bath carries in one run.
func atOnce(mm2PerL, volumeML int64) (rolls int64) {
	d := chemistry.BathDefinition{Use: chemistry.Reused, VolumeML: volumeML, RunMM2PerL: &mm2PerL}
	for len(d.Carries(chemistry.Wear{VolumeLeftML: volumeML}, chemistry.Load{AreaMM2: (rolls + 1) * chemistry.RollEquivalentMM2})) == 0 {
		rolls++
	}
	return rolls
}

// replenished is what tops a bath up at a rate per m² after a run of so much film.
func replenished(mlPerM2, mm2 int64) int64 {
	d := chemistry.BathDefinition{Use: chemistry.Replenished, ReplenishMLPerM2: &mlPerM2}
	return d.Replenisher(chemistry.Load{AreaMM2: mm2})
}

func outsideTables(t *testing.T) []outside {
	const clearing = "NAVEDTRA 14209"
	fix, exhausted := chemistry.ClearingTest(ms(0, 45), ms(1, 30))
	_, stillGood := chemistry.ClearingTest(ms(0, 45), ms(1, 29))
	checks := []outside{
		{clearing, "clearing time doubled: exhausted", yes(exhausted), 1, 0},
		{clearing, "clearing time not quite doubled: exhausted", yes(stillGood), 0, 0},
		{clearing, "fixing time at a clearing time of 1:30, s", int64(fix), 180, 0},
		{"US Army TM 11-2323, §33c", "5:00 of fixing at 20 °C, at 10 °C, s", int64(chemistry.ColdFixing(ms(5, 0), 10_000)), 600, 0},
		{"US Army TM 11-2323, §33c", "5:00 of fixing at 20 °C, at 0 °C, s", int64(chemistry.ColdFixing(ms(5, 0), 0)), 1200, 0},
		{"US Army TM 11-2323, §33c", "5:00 of fixing at 20 °C, at 24 °C, s", int64(chemistry.ColdFixing(ms(5, 0), 24_000)), 300, 0},
		{clearing + ", by p. 10-8", "fixer left after a minute in running water, ‰", chemistry.WashLeft(units.Minute), 500, 0},
		{clearing + ", by p. 10-8", "fixer left after two minutes in running water, ‰", chemistry.WashLeft(2 * units.Minute), 250, 0},
		{"The Darkroom Cookbook, 3rd ed. 2008, p. 108", "acid fixer, rolls a litre", chemistry.AcidFixerRollsPerL, 20, 0},
		{"The Darkroom Cookbook, 3rd ed. 2008, p. 108", "alkaline fixer, rolls a litre", chemistry.AlkalineFixerRollsPerL, 25, 0},
		{"from memory: exp(−0.081·ΔT), 4:00 at 20 °C is 3:08", "4:00 on a curve of 0.081 at 23 °C, s", int64(curved(t, 81, 23_000)), 188, 0},
		{"from memory: exp(−0.081·ΔT), 4:00 at 20 °C is 5:32", "4:00 on a curve of 0.081 at 16 °C, s", int64(curved(t, 81, 16_000)), 332, 0},
		{"notes on rate, second-hand: k ≈ 0.069 doubles per 10 °C", "4:00 on a curve of 0.069 at 10 °C, s", int64(curved(t, 69, 10_000)), 480, 3},
		{"Kodak F-32, part 2, fitted: k = 0.066 for D-76 stock", "6:30 on a curve of 0.066 at 24 °C, s, against 5:00", int64(chemistry.Corrected(ms(6, 30), permille(t, 66, 24_000))), 300, 1},
		{"Kodak F-32, part 2, fitted: k = 0.084 for XTOL 1:1", "8:45 on a curve of 0.084 at 24 °C, s, against 6:15", int64(chemistry.Corrected(ms(8, 45), permille(t, 84, 24_000))), 375, 1},
	}
	for _, row := range []struct {
		code   string
		line   int
		column int
		want   string
		source string
	}{
		{"drying", 0, 1, "35 °C, 40 to 50 % relative humidity, 15 to 20 minutes", "Kodak TI2497 (1999), note 4"},
		{"drying", 1, 1, "not above 60 °C", "Kodak Z-131, Table 2-1, second-hand"},
		{"drying", 2, 1, "below 51.7 °C (125 °F)", "US Army SS0573 (it prints 50.7)"},
		{"effluent", 0, 1, "5 mg/L (D011); used fixer may hold 3,000 to 5,000", "40 CFR 261.24, second-hand"},
		{"washing-ways", 4, 1, "at most 1.4 µg/cm² (0.014 g/m²)", "note on ISO 18917:1999, second-hand"},
		{"black-and-white-capacity", 5, 1, "12 rolls a litre, not above 27 °C", "The Darkroom Cookbook, p. 268"},
		{"stores", 2, 1, "13 °C at most, for up to 6 months", "Kodak text on cine stock"},
		{"cine-per-length", 0, 3, "1380", "Kodak H-24.09 (2006), reckoned"},
		{"colour-negative-use", 1, 1, "3 % of the tank as developer replenisher: 113.6 mL to a US gallon", "US Army SS0514, p. 2-15"},
		{"reversal-mixing", 1, 2, "8.8", "Kodak TI2443 rev. 01-00"},
	} {
		at := slices.IndexFunc(chemistry.Handbook(), func(t chemistry.HandbookTable) bool { return t.Code == row.code })
		if at < 0 {
			t.Fatalf("no table %q", row.code)
		}
		table := chemistry.Handbook()[at]
		checks = append(checks, outside{row.source, "the handbook's " + row.code + " has " + row.want, yes(table.Rows[row.line][row.column] == row.want), 1, 0})
	}
	return checks
}

func permille(t *testing.T, rate int64, at units.Temperature) chemistry.Factor {
	t.Helper()
	c := chemistry.TemperatureCurve{RatePermille: rate, Lowest: 5_000, Highest: 30_000}
	got, ok := c.Permille(at, 20_000)
	if !ok {
		t.Fatalf("%s is not on the curve", at)
	}
	return chemistry.Factor{Permille: got}
}

func curved(t *testing.T, rate int64, at units.Temperature) units.Duration {
	t.Helper()
	return chemistry.Corrected(ms(4, 0), permille(t, rate, at))
}

func outsideLimits(t *testing.T) []outside {
	// A litre from 20 to 38 °C takes 75.3 kJ: 4.186 J/(g·K), physics.
	warm, err := chemistry.WarmUp(1000, 20_000, 38_000, 1000, 1000)
	if err != nil {
		t.Fatal(err)
	}
	_, refused := process(t, "c-41").AtTemperature(38_000)
	_, taken := process(t, "c-41").AtTemperature(37_950)
	return []outside{
		{"physics: 4.186 J/(g·K)", "a litre from 20 to 38 °C with a kilowatt and no losses, s", int64(warm), 76, 0},
		{"Kodak Z-131, Table 2-1, second-hand: 37.8 ± 0.15 °C", "c-41 developer at 38.0 °C is refused", yes(refused != nil), 1, 0},
		{"Kodak Z-131, Table 4-1 (read): 37.8 ± 0.15 °C", "c-41 developer at 37.95 °C is taken", yes(taken == nil), 1, 0},
		{"effluent guidance: used fixer, bleach-fix, stabiliser bear silver", "fixer is silver-bearing waste",
			yes(chemistry.WasteOf("fixer") == chemistry.SilverBearing && chemistry.WasteOf("bleach-fix") == chemistry.SilverBearing && chemistry.WasteOf("stabiliser") == chemistry.SilverBearing), 1, 0},
		{"Kodak H-24.07, second-hand: pH 10.25 ± 0.05", "a reading of pH 10.31 in the cine developer warns", yes(warns(t, 1_031)), 1, 0},
		{"Kodak H-24.07, second-hand: pH 10.25 ± 0.05", "a reading of pH 10.30 in the cine developer does not", yes(warns(t, 1_030)), 0, 0},
	}
}

func warns(t *testing.T, ph int64) bool {
	t.Helper()
	s := step(t, "ecn-2", "developer")
	done := chemistry.DoneStep{Step: s, Base: s.Time, Sheet: s.Time, Limits: &chemistry.BathLimits{PHLow: 1_020, PHHigh: 1_030, Source: "Kodak H-24.07"}}
	w, err := chemistry.Reading{Steps: []chemistry.StepReading{{Step: 1, PH: &ph}}}.Judge([]chemistry.DoneStep{done}, nil)
	if err != nil {
		t.Fatal(err)
	}
	return len(w) > 0
}
