package chemistry_test

import (
	"slices"
	"testing"

	"wetside/chemistry"
	"wetside/lab/units"
)

// stepChecks are a step's time and bounds of temperature.
func stepChecks(t *testing.T, source, code, role string, time units.Duration, lowest, highest units.Temperature) []outside {
	s := step(t, code, role)
	name := code + " " + role
	return []outside{
		{source, name + ", s", int64(s.Time), int64(time), 0},
		{source, name + ", lowest, m°C", int64(s.Lowest()), int64(lowest), 0},
		{source, name + ", highest, m°C", int64(s.Highest()), int64(highest), 0},
	}
}

func pushed(t *testing.T, code string, stops int) int64 {
	t.Helper()
	d, err := process(t, code).Developing(stops, nil)
	if err != nil {
		t.Fatal(err)
	}
	return int64(d)
}

func outsideReversal(t *testing.T) []outside {
	const (
		z119   = "encyclopaedia footnoted to Kodak Z-119, second-hand"
		memory = "from memory (Z-119 was not read)"
		ss0514 = "US Army SS0514 (1994), p. 4-3"
	)
	six := process(t, "reversal-6")
	order := func(before, after string) int64 {
		at := func(role string) int {
			return slices.IndexFunc(six.Steps, func(s chemistry.Step) bool { return s.Role == role })
		}
		return yes(at(before) >= 0 && at(before) < at(after))
	}
	reversal := slices.IndexFunc(six.Steps, func(s chemistry.Step) bool { return s.Role == "reversal-bath" })
	checks := []outside{
		{z119, "six-bath first developer, s", int64(step(t, "reversal-6", "first-developer").Time), 360, 0},
		{z119, "six-bath first developer, middle, m°C", int64(step(t, "reversal-6", "first-developer").Temperature), 37_800, 0},
		{"from memory; an article citing a 2005 Kodak sheet has 170", "six-bath first developer, tolerance, m°C", int64(step(t, "reversal-6", "first-developer").Tolerance), 300, 0},
		{z119, "six-bath first wash, s", int64(step(t, "reversal-6", "wash").Time), 120, 0},
		{ss0514, "six-bath steps, drying counted", int64(len(six.Steps)) + 1, 10, 0},
		{ss0514, "the colour developer follows the reversal bath, no wash between", yes(six.Steps[reversal+1].Role == "colour-developer"), 1, 0},
		{"Kodak TI2443 rev. 01-00, kit list", "pre-bleach before bleach", order("pre-bleach", "bleach"), 1, 0},
		{"Kodak TI2443 rev. 01-00, kit list", "bleach before fixer", order("bleach", "fixer"), 1, 0},
		{"Kodak TI2443 rev. 01-00, kit list", "baths of a six-bath kit", int64(len(six.Roles())), 7, 0},
		{"encyclopaedia on the three-bath form, second-hand, and a stabiliser", "baths of a three-bath kit", int64(len(process(t, "reversal-3").Roles())), 4, 0},
		{"German encyclopaedia: 32:00; the steps from memory give a minute more", "six-bath wet time, s", wet(t, "reversal-6", nil), 32 * 60, 60},
		{"German encyclopaedia", "three-bath wet time, s", wet(t, "reversal-3", nil), 26 * 60, 0},
		{memory, "six-bath bleach, s", int64(step(t, "reversal-6", "bleach").Time), 360, 0},
		{memory, "six-bath fixer, s", int64(step(t, "reversal-6", "fixer").Time), 240, 0},
		{memory + ": 7:30 to 8:00", "first developer pushed a stop, s", pushed(t, "reversal-6", 1), 465, 15},
		{memory + ": 11:00 to 11:30", "first developer pushed two stops, s", pushed(t, "reversal-6", 2), 675, 15},
		{memory + ": 4:00 to 4:30", "first developer pulled a stop, s", pushed(t, "reversal-6", -1), 255, 15},
		{"common practice", "the six-bath's foaming final bath is by hand", yes(step(t, "reversal-6", "stabiliser").ByHand), 1, 0},
		{"common practice", "the six-bath's final bath, s", int64(step(t, "reversal-6", "stabiliser").Time), 60, 0},
	}
	return append(checks, stepChecks(t, memory, "reversal-6", "colour-developer", ms(6, 0), 37_400, 38_600)...)
}

func outsideNegative(t *testing.T) []outside {
	const (
		z131   = "Kodak Z-131, Table 2-1, second-hand"
		z131p  = "Kodak Z-131, Table 2-7, second-hand, for the films named there"
		z131c  = "Kodak Z-131, Table 5-1, second-hand"
		short  = "Kodak Z-131, Table 2-1, second-hand; summed"
		manual = "US Army SS0514, p. 2-13 (page inferred)"
	)
	checks := []outside{
		{"Kodak Z-131, section 4, Table 4-1 (read): 3:15", "c-41 developer, again, s", int64(step(t, "c-41", "developer").Time), 195, 0},
		{short, "c-41 wet time, bleach 4:20, s", wet(t, "c-41", map[string]units.Duration{"bleach": step(t, "c-41", "bleach").Shortest}), 17*60 + 20, 0},
		{short, "c-41 wet time, bleach 6:30, s", wet(t, "c-41", nil), 19*60 + 30, 0},
		{z131, "c-41 bleach, shortest, s", int64(step(t, "c-41", "bleach").Shortest), 260, 0},
		{z131p, "c-41 pushed a stop, s", pushed(t, "c-41", 1), 225, 0},
		{z131p, "c-41 pushed two stops, s", pushed(t, "c-41", 2), 255, 0},
		{"notes on photography, second-hand: 0:30 a stop", "c-41 pushed a stop, above normal, s", pushed(t, "c-41", 1) - 195, 30, 0},
		{manual, "c-41 drains for the last, s", int64(step(t, "c-41", "developer").Drain), 10, 0},
	}
	checks = append(checks, stepChecks(t, z131, "c-41", "developer", ms(3, 15), 37_650, 37_950)...)
	checks = append(checks, stepChecks(t, z131, "c-41", "bleach", ms(6, 30), 35_000, 41_000)...)
	checks = append(checks, stepChecks(t, z131, "c-41", "fixer", ms(4, 20), 35_000, 41_000)...)
	checks = append(checks, stepChecks(t, z131, "c-41", "stabiliser", ms(1, 5), 24_000, 41_000)...)
	for i, want := range [][2]int64{{3, 5}, {6, 8}, {7, 9}} {
		limit := process(t, "c-41").Control[i]
		checks = append(checks,
			outside{z131c, "c-41 control strip, " + limit.Measure + ", action, hundredths", limit.ActionHundredths, want[0], 0},
			outside{z131c, "c-41 control strip, " + limit.Measure + ", control, hundredths", limit.ControlHundredths, want[1], 0})
	}
	return checks
}

func outsideCine(t *testing.T) []outside {
	const (
		h2407 = "Kodak H-24.07 (1996), second-hand"
		hand  = "Schaller, ECN hand-processing table (2004), second-hand"
		sum   = "Kodak H-24.07 (1996), second-hand; summed without the backing removal"
	)
	machine := map[string]units.Duration{"prebath": ms(0, 10), "backing-removal": 0, "stabiliser": ms(0, 10)}
	persulfate := map[string]units.Duration{"prebath": ms(0, 10), "backing-removal": 0, "stabiliser": ms(0, 10), "bleach": ms(1, 0)}
	checks := []outside{
		{sum, "ecn-2 wet time, ferricyanide bleach, s", wet(t, "ecn-2", machine), 12*60 + 20, 0},
		{sum, "ecn-2 wet time, persulfate bleach, s", wet(t, "ecn-2", persulfate), 10*60 + 20, 0},
		{hand, "ecn-2 prebath by hand, s", int64(step(t, "ecn-2", "prebath").Time), 60, 0},
		{h2407, "ecn-2 prebath, shortest (in a machine), s", int64(step(t, "ecn-2", "prebath").Shortest), 10, 0},
		{"journal paper on a high-speed negative (1982), second-hand: 3:40 to 4:00", "ecn-2 pushed a stop, s", pushed(t, "ecn-2", 1), 230, 10},
		{"common practice", "ecn-2's backing comes off by hand", yes(step(t, "ecn-2", "backing-removal").ByHand), 1, 0},
	}
	checks = append(checks, stepChecks(t, h2407, "ecn-2", "developer", ms(3, 0), 41_000, 41_200)...)
	checks = append(checks, stepChecks(t, h2407, "ecn-2", "stop", ms(0, 30), 27_000, 38_000)...)
	checks = append(checks, stepChecks(t, h2407, "ecn-2", "bleach", ms(3, 0), 37_000, 39_000)...)
	checks = append(checks, stepChecks(t, h2407, "ecn-2", "fixer", ms(2, 0), 37_000, 39_000)...)
	return append(checks, stepChecks(t, hand, "ecn-2", "backing-removal", ms(0, 30), 24_000, 30_000)...)
}

func outsideBlackAndWhite(t *testing.T) []outside {
	const (
		ss0509 = "US Army SS0509, p. 18"
		notes  = "notes on black-and-white reversal, second-hand"
	)
	reversal := process(t, "bw-reversal")
	at := func(role string) int64 {
		return int64(slices.IndexFunc(reversal.Steps, func(s chemistry.Step) bool { return s.Role == role }))
	}
	rinse := process(t, "bw-negative").Steps[3]
	wash := process(t, "bw-negative").Steps[5]
	checks := []outside{
		{ss0509, "black-and-white rinse before the eliminator, s", int64(rinse.Time), 30, 0},
		{ss0509, "black-and-white eliminator, s", int64(step(t, "bw-negative", "clearing").Time), 120, 0},
		{ss0509, "black-and-white wash after it, s", int64(wash.Time), 300, 0},
		{ss0509, "black-and-white wetting agent, s", int64(step(t, "bw-negative", "wetting-agent").Time), 60, 0},
		{"NAVEDTRA 14209, p. 10-15", "black-and-white developer, m°C", int64(step(t, "bw-negative", "developer").Temperature), 20_000, 0},
		{"NAVEDTRA 14209, by fig. 10-18", "black-and-white drains for the last, s", int64(step(t, "bw-negative", "developer").Drain), 10, 0},
		{notes, "in reversal the bleach comes after the first developer", yes(at("first-developer") < at("bleach")), 1, 0},
		{notes, "in reversal light comes after the bleach", yes(at("bleach") < at("re-exposure")), 1, 0},
		{notes, "in reversal the second developer comes after the light", yes(at("re-exposure") < at("developer")), 1, 0},
		{"from memory: 6 to 12 minutes", "reversal's first developer, least, s", int64(reversal.DevelopingRange.Min), 360, 0},
		{"from memory: 6 to 12 minutes", "reversal's first developer, most, s", int64(reversal.DevelopingRange.Max), 720, 0},
	}
	for _, row := range chemistry.DevelopingRows() {
		if row.Developer != "D-76 stock" && row.Developer != "XTOL 1:1 (135)" || row.Speed != 100 {
			continue
		}
		p := process(t, "bw-negative")
		p.Temperatures = nil
		for i, temp := range f32Temperatures {
			p.Temperatures = append(p.Temperatures, chemistry.TemperaturePoint{Temperature: temp,
				Permille: (int64(row.Times[i])*1000 + int64(row.Times[0])/2) / int64(row.Times[0])})
		}
		want := map[string][]units.Duration{
			"D-76 stock":     {ms(6, 30), ms(6, 0), ms(5, 30), ms(5, 0)},
			"XTOL 1:1 (135)": {ms(8, 45), ms(8, 0), ms(7, 15), ms(6, 15)},
		}[row.Developer]
		for i, temp := range f32Temperatures {
			f, err := p.AtTemperature(temp)
			if err != nil {
				t.Fatal(err)
			}
			checks = append(checks, outside{"Kodak F-32, part 2", row.Developer + ", 100-speed film at " + temp.String() + ", s",
				int64(chemistry.Corrected(row.Times[0], f)), int64(want[i]), 0})
		}
	}
	return checks
}

// f32Temperatures are the columns of Kodak F-32, part 2.
var f32Temperatures = []units.Temperature{20_000, 21_000, 22_000, 24_000}
