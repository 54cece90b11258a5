package chemistry

import "wetside/lab/units"

// f32D76 is how the developing time of one developer goes with temperature:
// 6½, 6, 5½ and 5 minutes at 20, 21, 22 and 24 °C (Kodak F-32, part 2, D-76
// stock, 100-speed film), in permille. Other developers' times at 24 °C are
// 667 to 846 permille of those at 20 °C: no one table fits all.
var f32D76 = []TemperaturePoint{
	{Temperature: 20 * units.DegreeCelsius, Permille: 1000},
	{Temperature: 21 * units.DegreeCelsius, Permille: 923},
	{Temperature: 22 * units.DegreeCelsius, Permille: 846},
	{Temperature: 24 * units.DegreeCelsius, Permille: 769},
}

const (
	sourceF32    = "Temperature is corrected by Kodak F-32, part 2, for D-76 stock and 100-speed film; other developers differ: a lab that uses another gives the process its own table."
	sourceNorm   = "20 °C: NAVEDTRA 14209, p. 10-15; tolerance " + memory
	sourceFilmMe = "each film's own sheet; " + sourceNorm
)

// bwNegative has each roll's own developing time; from the rinse on it is SS0509's
// wash with an eliminator.
func bwNegative() ProcessDefinition {
	return ProcessDefinition{
		Code: "bw-negative", Name: "Black-and-white negative", Kind: BWNegative,
		Steps: []Step{
			developer(dark(slow(bath("developer", "Developer", 0, 195, 205, sourceFilmMe)))),
			dark(slow(bath("stop", "Stop bath", ms(0, 30), 180, 240, memory))),
			dark(slow(bath("fixer", "Fixer", ms(5, 0), 180, 240, memory+"; at least twice the clearing time: NAVEDTRA 14209"))),
			wash("Rinse", ms(0, 30), 180, 240, sourceSS0509),
			slow(bath("clearing", "Fixer eliminator", ms(2, 0), 180, 240, sourceSS0509)),
			wash("Wash", ms(5, 0), 180, 240, sourceSS0509),
			last("wetting-agent", "Wetting agent", ms(1, 0), 180, 240, sourceSS0509+"; "+sourceByHand),
		},
		FilmDeveloping:  true,
		DevelopingRange: &DevelopingRange{Min: ms(2, 0), Max: ms(60, 0)},
		Temperatures:    f32D76,
		Cautions: []string{
			sourceF32,
			"Test the fixer's clearing time: when it has doubled the fixer is exhausted (NAVEDTRA 14209).",
		},
		Source: "order: " + practice + "; wash with an eliminator: " + sourceSS0509,
	}
}

// bwReversal's times are from memory: no published table was found.
func bwReversal() ProcessDefinition {
	light := wash("Re-exposure", ms(2, 0), 180, 240, memory)
	light.Role, light.ByHand, light.Drain = "re-exposure", true, 0
	light.Agitation = "in plain light, turn the film in water so that all of it is lit from both sides"
	return ProcessDefinition{
		Code: "bw-reversal", Name: "Black-and-white reversal", Kind: BWReversal,
		Steps: []Step{
			developer(dark(slow(bath("first-developer", "First developer", 0, 195, 205, sourceFilmMe+"; 6 to 12 minutes "+memory)))),
			dark(wash("First wash", ms(2, 0), 180, 240, memory+" (2:00 to 5:00)")),
			dark(slow(bath("bleach", "Silver-dissolving bleach", ms(4, 0), 180, 240, memory+" (3:00 to 5:00)"))),
			dark(wash("Second wash", ms(2, 0), 180, 240, memory+" (2:00 to 5:00)")),
			dark(slow(bath("clearing", "Clearing bath", ms(2, 0), 180, 240, memory))),
			dark(wash("Third wash", ms(2, 0), 180, 240, memory+" (2:00 to 5:00)")),
			light,
			slow(bath("developer", "Second developer", ms(4, 30), 180, 240, memory+" (3:00 to 6:00)")),
			wash("Fourth wash", ms(2, 0), 180, 240, memory+" (2:00 to 5:00)"),
			slow(bath("fixer", "Fixer", ms(4, 0), 180, 240, memory+" (3:00 to 5:00)")),
			wash("Final wash", ms(5, 0), 180, 240, memory+" (2:00 to 5:00)"),
			last("wetting-agent", "Wetting agent", ms(1, 0), 180, 240, memory+"; "+sourceByHand),
		},
		FilmDeveloping:  true,
		DevelopingRange: &DevelopingRange{Min: ms(6, 0), Max: ms(12, 0)},
		Temperatures:    f32D76,
		Cautions: []string{
			sourceF32,
			"The bleach dissolves silver and is no fixer. Permanganate and dichromate react violently with developer: wash well between them (" + memory + ").",
		},
		Source: "order: notes on black-and-white reversal, second-hand; times: " + memory,
	}
}
