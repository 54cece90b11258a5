package scheduling

import (
	"math/big"
	"strconv"
	"strings"

	"wetside/chemistry"
	"wetside/scheduling/planner"
)

// mostPortions bounds how many portions of one kit a problem offers: more than
// a week can use.
const mostPortions = 4

// addBaths adds the baths that are mixed, and those that kits on the shelf
// would make.
func (d *draft) addBaths() {
	for _, set := range d.sets {
		out := planner.BathSet{ID: set.ID, Processes: []string{set.Process}, Baths: []string{}}
		if k, ok := d.open[set.Kit]; ok {
			out.WasteMinorPerM2 = wastePerM2(k.Price.Amount, k.Portions, k.RatedAreaMM2)
		}
		for _, b := range set.Baths {
			expires := b.ExpiresAt
			d.p.Baths = append(d.p.Baths, planner.Bath{
				ID: b.ID, Role: b.Role, VolumeML: b.VolumeLeftML, OneShot: b.Use == chemistry.OneShot,
				RunMM2PerL: b.RunMM2PerL, AreaLeftMM2: b.AreaLeftMM2, RunsLeft: b.RunsLeft, ExpiresAt: &expires,
			})
			out.Baths = append(out.Baths, b.ID)
		}
		d.p.BathSets = append(d.p.BathSets, out)
	}
	for _, k := range d.kits {
		first := k.Portions - k.PortionsLeft + 1
		for n := first; n <= k.Portions && n < first+mostPortions; n++ {
			d.addPortion(k, n)
		}
	}
}

// addPortion adds portion n of a kit as a set that can be mixed.
func (d *draft) addPortion(k chemistry.Kit, n int64) {
	id := portionID(k.ID, n)
	by := k.UsableUntil()
	out := planner.BathSet{
		ID: id, Processes: []string{k.Process}, Baths: []string{},
		Mix: &planner.Mix{Kit: k.ID, PriceMinor: k.Price.Amount / k.Portions, Takes: k.Mix, By: &by},
	}
	for _, b := range k.Baths {
		life := b.Life
		bath := planner.Bath{
			ID: id + "/" + b.Role, Role: b.Role, VolumeML: b.VolumeML, OneShot: b.Use == chemistry.OneShot,
			RunMM2PerL: b.RunMM2PerL, RunsLeft: b.Runs, Life: &life,
		}
		if mm2, ok := b.Capacity(); ok {
			bath.AreaLeftMM2 = &mm2
		}
		d.p.Baths = append(d.p.Baths, bath)
		out.Baths = append(out.Baths, bath.ID)
	}
	d.p.BathSets = append(d.p.BathSets, out)
}

// portionID names the bath set that a kit's n-th portion would make: a batch
// that waits for it keeps its name when others are mixed.
func portionID(kit string, n int64) string { return kit + "/" + strconv.FormatInt(n, 10) }

func isPortion(set string) bool { return strings.Contains(set, "/") }

// kitOfPortion is the kit that a portion's name is of.
func kitOfPortion(set string) string {
	kit, _, _ := strings.Cut(set, "/")
	return kit
}

// wastePerM2 is what a square metre of a kit's rated capacity cost, in minor
// units, floored.
func wastePerM2(priceMinor, portions, ratedMM2 int64) int64 {
	n := new(big.Int).Mul(big.NewInt(priceMinor), big.NewInt(1_000_000))
	n.Quo(n, new(big.Int).Mul(big.NewInt(portions), big.NewInt(ratedMM2)))
	const most = 900_000_000 // the planner's limit
	if !n.IsInt64() || n.Int64() > most {
		return most
	}
	return n.Int64()
}
