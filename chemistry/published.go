package chemistry

import "wetside/lab/units"

// The concentrates of a six-bath reversal kit, mL a litre: Kodak TI2443 rev.
// 01-00, whose table is linear and printed to 0.1 mL.
var ti2443 = []struct {
	Role         string
	Concentrates []Concentrate
}{
	{"first-developer", []Concentrate{{Name: "first developer", ULPerL: 200_000}}},
	{"reversal-bath", []Concentrate{{Name: "reversal bath", ULPerL: 25_000}}},
	{"colour-developer", []Concentrate{{Name: "colour developer A", ULPerL: 142_500}, {Name: "colour developer B", ULPerL: 47_000}}},
	{"pre-bleach", []Concentrate{{Name: "pre-bleach", ULPerL: 70_000}}},
	{"bleach", []Concentrate{{Name: "bleach", ULPerL: 310_000}}},
	{"fixer", []Concentrate{{Name: "fixer", ULPerL: 70_000}}},
	{"stabiliser", []Concentrate{{Name: "final rinse", ULPerL: 10_000}}},
}

// ReversalConcentrates are the six-bath kit's concentrates for a role, by
// Kodak TI2443; none for a role that it has not.
func ReversalConcentrates(role string) []Concentrate {
	for _, row := range ti2443 {
		if row.Role == role {
			return row.Concentrates
		}
	}
	return nil
}

// A Replenishment is what replenishes a bath, and how far a mix of it goes.
type Replenishment struct {
	Role string
	// MLPerFT2 is the rate, Gallons (US) a mix, FT2 the film that the source
	// prints for it.
	MLPerFT2, Gallons, FT2 int64
}

// ReversalReplenishment is Kodak Z-119, section 2, Table 2-1 (Process E-6AR).
func ReversalReplenishment() []Replenishment {
	return []Replenishment{
		{"first-developer", 200, 25, 475},
		{"reversal-bath", 100, 100, 3_780},
		{"colour-developer", 200, 25, 475},
		{"pre-bleach", 100, 50, 1_890},
		{"bleach", 20, 5, 950},
		{"fixer", 100, 50, 1_890},
		{"stabiliser", 100, 320, 12_110},
	}
}

// MLPerM2 is the rate in the unit of BathDefinition.ReplenishMLPerM2: a square
// foot is 0.09290304 m².
func (r Replenishment) MLPerM2() int64 { return divHalfUp(r.MLPerFT2*100_000_000, 9_290_304) }

// TenthsMLPerRoll is the rate for a roll-equivalent of 80 in², in tenths of a mL.
func (r Replenishment) TenthsMLPerRoll() int64 { return divHalfUp(r.MLPerFT2*10*80, 144) }

// CoversTenthsFT2 is the film that a mix replenishes for, in tenths of a square
// foot; a US gallon is 3785.41 mL.
func (r Replenishment) CoversTenthsFT2() int64 {
	return divHalfUp(r.Gallons*378_541, r.MLPerFT2*10)
}

// gallonTenthsML is a US gallon in tenths of a mL.
const gallonTenthsML = 37_854

// PerLength is the mL that lengthMM of cine film takes of a bath that 100 ft of
// 35 mm takes so much of. 16 mm takes half, as Kodak H-24.09 (2006) has it,
// though it has 0.456 of the area.
func PerLength(mlPer100FT35, lengthMM int64, sixteen bool) int64 {
	half := int64(1)
	if sixteen {
		half = 2
	}
	return divUp(mlPer100FT35*lengthMM, hundredFeet*half)
}

// hundredFeet is 100 ft in mm.
const hundredFeet = 30_480

// A DevelopingRow is one developer's times for a film at 20, 21, 22 and 24 °C.
type DevelopingRow struct {
	Developer string
	Speed     int
	Times     [4]units.Duration
}

// DevelopingRows are Kodak F-32, part 2, "Rotary-tube processing – rolls". The
// films were later reissued with other times: rows to hold a look-up against,
// and to start a process of one's own from, not a film's sheet.
func DevelopingRows() []DevelopingRow {
	return []DevelopingRow{
		{"T-MAX 1:4", 100, [4]units.Duration{ms(6, 30), ms(6, 30), ms(6, 0), ms(5, 30)}},
		{"T-MAX 1:4", 400, [4]units.Duration{ms(6, 30), ms(6, 30), ms(6, 0), ms(5, 30)}},
		{"T-MAX RS", 100, [4]units.Duration{ms(7, 0), ms(6, 30), ms(6, 0), ms(5, 0)}},
		{"T-MAX RS", 400, [4]units.Duration{ms(6, 30), ms(6, 0), ms(5, 30), ms(5, 30)}},
		{"XTOL stock (135)", 100, [4]units.Duration{ms(6, 0), ms(5, 15), ms(4, 45), ms(4, 0)}},
		{"XTOL stock (135)", 400, [4]units.Duration{ms(5, 30), ms(5, 0), ms(4, 30), ms(4, 0)}},
		{"XTOL 1:1 (135)", 100, [4]units.Duration{ms(8, 45), ms(8, 0), ms(7, 15), ms(6, 15)}},
		{"XTOL 1:1 (135)", 400, [4]units.Duration{ms(7, 45), ms(7, 0), ms(6, 30), ms(5, 30)}},
		{"D-76 stock", 100, [4]units.Duration{ms(6, 30), ms(6, 0), ms(5, 30), ms(5, 0)}},
		{"D-76 stock", 400, [4]units.Duration{ms(7, 0), ms(6, 30), ms(6, 0), ms(5, 30)}},
	}
}
