package chemistry

import "fmt"

// A Concentrate is one part of a bath as the kit brings it.
type Concentrate struct {
	Name string `json:"name"`
	// ULPerL is how much of it a litre of working solution takes, in µL, so
	// that 142.5 mL is exact.
	ULPerL int64 `json:"ul_per_l"`
	// InKitML is how much of it the whole kit holds, where it says so.
	InKitML *int64 `json:"in_kit_ml,omitempty"`
}

// TenthsML is what volumeML takes of it in tenths of a mL, rounded half up, as
// kits' own tables are printed (Kodak TI2443: 8.75 mL is 8.8).
func (c Concentrate) TenthsML(volumeML int64) int64 { return divHalfUp(c.ULPerL*volumeML, 100_000) }

// A MixingTable is what to measure out for the baths of a kit at a volume.
type MixingTable struct {
	VolumeML int64       `json:"volume_ml"`
	Baths    []MixedBath `json:"baths"`
	Cautions []string    `json:"cautions"`
	Source   string      `json:"source"`
}

// A MixedBath is one bath to mix: start with water, add the concentrates in
// their order, and fill up to the volume.
type MixedBath struct {
	Role              string    `json:"role"`
	StartWaterTenths  int64     `json:"start_water_tenths_ml"`
	Measures          []Measure `json:"measures"`
	FillUpWaterTenths int64     `json:"fill_up_water_tenths_ml"`
	Source            string    `json:"source,omitempty"`
}

// A Measure is how much of a concentrate.
type Measure struct {
	Name     string `json:"name"`
	TenthsML int64  `json:"tenths_ml"`
}

// startWaterPermille is the water to begin with: 600 mL a litre, Kodak TI2443
// rev. 01-00.
const startWaterPermille = 600

// mixingSource is where the order of mixing comes from.
const mixingSource = "start with 600 mL of water a litre at 20 to 40 °C: Kodak TI2443 rev. 01-00 (Z-119: the same temperatures); order as listed, acid into water"

// TableFor is what the kit's baths take at volumeML each, 0 standing for the
// volume of the largest; a bath that does not say what it is made of is left out.
func TableFor(baths []BathDefinition, volumeML int64) MixingTable {
	if volumeML == 0 {
		for _, d := range baths {
			volumeML = max(volumeML, d.VolumeML)
		}
	}
	t := MixingTable{VolumeML: volumeML, Baths: []MixedBath{}, Source: mixingSource}
	var roles []string
	for _, d := range baths {
		if len(d.Concentrates) == 0 {
			continue
		}
		m := MixedBath{Role: d.Role, Source: d.Source}
		whole, taken := volumeML*10, int64(0)
		for _, c := range d.Concentrates {
			m.Measures = append(m.Measures, Measure{Name: c.Name, TenthsML: c.TenthsML(volumeML)})
			taken += c.TenthsML(volumeML)
		}
		water := max(whole-taken, 0)
		m.StartWaterTenths = min(divHalfUp(whole*startWaterPermille, 1000), water)
		m.FillUpWaterTenths = water - m.StartWaterTenths
		t.Baths = append(t.Baths, m)
		roles = append(roles, d.Role)
	}
	t.Cautions = append([]string{cautionAcid}, BathCautions(roles...)...)
	return t
}

// checkConcentrates says whether the parts of a bath add up: to no more than
// the bath, and all portions to no more than the kit holds.
func (d BathDefinition) checkConcentrates(fs *faults, at string, portions int64) {
	fs.between(at+"/concentrates", int64(len(d.Concentrates)), 0, 10)
	sum := int64(0)
	for i, c := range d.Concentrates {
		here := fmt.Sprintf("%s/concentrates/%d", at, i)
		fs.text(here+"/name", c.Name, 100)
		fs.between(here+"/ul_per_l", c.ULPerL, 1, 1_000_000)
		sum += c.ULPerL
		if c.InKitML == nil || portions < 1 || portions > mostPortions || d.VolumeML < 1 || d.VolumeML > mostVolume {
			continue
		}
		if need := divHalfUp(c.ULPerL*d.VolumeML/1000*portions, 1000); need > *c.InKitML {
			fs.add(here+"/in_kit_ml", "portions-do-not-add-up", "%d portions of %d mL take %d mL of %s, and the kit holds %d",
				portions, d.VolumeML, need, c.Name, *c.InKitML)
		}
	}
	if sum > 1_000_000 {
		fs.add(at+"/concentrates", "portions-do-not-add-up", "the parts of the %s are %d mL to the litre", d.Role, sum/1000)
	}
}
