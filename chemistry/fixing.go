package chemistry

import "wetside/lab/units"

const (
	sourceClearing = "NAVEDTRA 14209: film is fixed in twice its clearing time, a bath is exhausted when that has doubled"
	sourceCold     = "US Army TM 11-2323, §33c: below 68 °F (20 °C) double the fixing time for every 18 °F (10 °C)"
	sourceWashing  = "NAVEDTRA 14209, by p. 10-8: what is left of the fixer halves with each minute in running water"
)

// The rolls that a litre of fixer carries where its sheet does not say: S.
// Anchell, The Darkroom Cookbook, 3rd ed. 2008, p. 108.
const (
	AcidFixerRollsPerL     = 20
	AlkalineFixerRollsPerL = 25
)

// ClearingTest is how long to fix in a bath that clears film in now, and
// whether the bath is exhausted, by NAVEDTRA 14209.
func ClearingTest(fresh, now units.Duration) (fix units.Duration, exhausted bool) {
	return 2 * now, now >= 2*fresh
}

// ColdFixing is a fixing time that is normal at 20 °C, at a lower temperature;
// at higher ones it stays. By US Army TM 11-2323, §33c.
func ColdFixing(normal units.Duration, at units.Temperature) units.Duration {
	below := int64(max(20*units.DegreeCelsius-at, 0))
	// 2^(below/10 °C), with ln 2 = 0.693147.
	return Corrected(normal, Factor{Permille: expPermille(693_147 * below / 10_000)})
}

// WashLeft is what is left, in thousandths, of the fixer in film after so long
// in running water, by NAVEDTRA 14209.
func WashLeft(washed units.Duration) int64 {
	left := int64(1000)
	for ; washed >= units.Minute && left > 0; washed -= units.Minute {
		left = divHalfUp(left, 2)
	}
	return left
}

// AgeingTopUpTenthsML is the replenisher, in tenths of a mL, that a colour
// developer gets after standing for two days: 3 % (US Army SS0514, p. 2-15).
func AgeingTopUpTenthsML(volumeTenthsML int64) int64 { return divHalfUp(volumeTenthsML*3, 100) }
