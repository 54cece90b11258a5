package chemistry

// reversalPushes act on the first developer alone.
var reversalPushes = []Push{
	{Stops: -1, Developing: ms(4, 15), Source: memory + " (4:00 to 4:30; sources differ)"},
	{Stops: 0, Developing: ms(6, 0), Source: sourceZ119},
	{Stops: 1, Developing: ms(8, 0), Source: memory + " (7:30 to 8:00; sources differ)"},
	{Stops: 2, Developing: ms(11, 15), Source: memory + " (11:00 to 11:30; sources differ)"},
}

var (
	disagreeFirst = Disagreement{Field: "/steps/0/tolerance", Taken: "±0.3 °C (" + memory + ")", Otherwise: "±0.17 °C",
		Source: "article citing a 2005 Kodak sheet"}
	disagreePush = Disagreement{Field: "/pushes", Taken: "4:15, 8:00, 11:15 for −1, +1, +2 stops (" + memory + ")",
		Otherwise: "4:00 to 4:30, 7:30 to 8:00, 11:00 to 11:30", Source: memory + ": sources differ, and no table was read"}
)

// reversalSix sums to 33:00, a minute more than an encyclopaedia gives the
// process; the order is Kodak TI2443's kit list.
func reversalSix() ProcessDefinition {
	return ProcessDefinition{
		Code: "reversal-6", Name: "Colour reversal, six baths", Kind: ColourReversal,
		Steps: []Step{
			within(0, ms(9, 0), developer(dark(bath("first-developer", "First developer", ms(6, 0), 375, 381, sourceZ119+"; "+sourceMost)))),
			dark(wash("First wash", ms(2, 0), 330, 390, "2:00: encyclopaedia footnoted to Kodak Z-119; range "+memory)),
			// No wash follows: the agent must still be in the emulsion.
			dark(bath("reversal-bath", "Reversal bath", ms(2, 0), 240, 390, memory+"; in the dark for its first minute: "+sourceSS0514)),
			bath("colour-developer", "Colour developer", ms(6, 0), 374, 386, memory),
			bath("pre-bleach", "Pre-bleach", ms(2, 0), 240, 390, memory),
			bath("bleach", "Bleach", ms(6, 0), 330, 390, memory),
			bath("fixer", "Fixer", ms(4, 0), 330, 390, memory),
			wash("Final wash", ms(4, 0), 330, 390, memory),
			last("stabiliser", "Stabilising rinse", ms(1, 0), 200, 390, memory+"; "+sourceByHand),
		},
		Pushes: reversalPushes,
		Cautions: []string{
			"Do not wash between reversal bath and colour developer (" + sourceSS0514 + ").",
			"The first developer decides density, contrast and colour: mind its time and temperature most (" + sourceSS0514 + ").",
			"Keep the bleach aerated (US Army SS0514, p. 2-15, on iron bleaches).",
		},
		Disagreements: []Disagreement{disagreeFirst, disagreePush,
			{Field: "/steps", Taken: "33:00 in all", Otherwise: "32:00 in all", Source: "German encyclopaedia; the steps' own times are mostly " + memory}},
		Source: "order: Kodak TI2443 rev. 01-00 and US Army SS0514, p. 4-3; figures: each step's own",
	}
}

// reversalThree sums to the 26:00 that an encyclopaedia gives the three-bath
// form at 38 °C; how it is divided is from memory.
func reversalThree() ProcessDefinition {
	return ProcessDefinition{
		Code: "reversal-3", Name: "Colour reversal, three baths", Kind: ColourReversal,
		Steps: []Step{
			within(0, ms(9, 0), developer(dark(bath("first-developer", "First developer", ms(6, 0), 375, 381, memory+" (6:00 to 6:30); "+sourceMost)))),
			dark(wash("First rinse", ms(1, 30), 330, 390, memory)),
			bath("colour-developer", "Colour developer with reversal", ms(6, 0), 374, 386, memory),
			wash("Second rinse", ms(1, 30), 330, 390, memory),
			within(ms(6, 0), ms(10, 0), bath("bleach-fix", "Bleach-fix", ms(6, 0), 330, 390, memory+" (6:00 to 10:00)")),
			wash("Final wash", ms(4, 0), 330, 390, memory),
			last("stabiliser", "Stabiliser", ms(1, 0), 200, 390, memory+"; "+sourceByHand),
		},
		Pushes: reversalPushes,
		Cautions: []string{
			"The first developer decides density, contrast and colour: mind its time and temperature most (" + sourceSS0514 + ").",
		},
		Disagreements: []Disagreement{disagreeFirst, disagreePush},
		Source:        "order: encyclopaedia on the three-bath form; total 26:00 at 38 °C: German encyclopaedia; times of the steps: " + memory,
	}
}

// colourNegative takes the longer bleach, which is a minimum and may be
// exceeded; it sums to 19:30.
func colourNegative() ProcessDefinition {
	const pushSource = "Kodak Z-131, Table 2-7, second-hand, for the films named there alone"
	return ProcessDefinition{
		Code: "c-41", Name: "Colour negative C-41", Kind: ColourNegative,
		Steps: []Step{
			// ±0.15 °C is finer than a tenth of a degree.
			within(0, ms(4, 53), developer(dark(Step{Role: "developer", Name: "Developer", Time: ms(3, 15), Temperature: 37_800, Tolerance: 150,
				Agitation: agitateRoll, Drain: drain, Source: sourceZ131 + "; also Z-131, Table 4-1; " + sourceMost}))),
			within(ms(4, 20), 0, dark(bath("bleach", "Bleach", ms(6, 30), 350, 410, sourceZ131+" (4:20 to 6:30, the longer taken)"))),
			wash("First wash", ms(1, 5), 240, 410, sourceZ131),
			within(ms(4, 20), 0, bath("fixer", "Fixer", ms(4, 20), 350, 410, sourceZ131+"; a minimum: Z-131, section 4")),
			wash("Final wash", ms(3, 15), 240, 410, sourceZ131),
			last("stabiliser", "Stabiliser or final rinse", ms(1, 5), 240, 410, sourceZ131+"; "+sourceByHand),
		},
		Pushes: []Push{
			{Stops: 0, Developing: ms(3, 15), Source: sourceZ131},
			{Stops: 1, Developing: ms(3, 45), Source: pushSource},
			{Stops: 2, Developing: ms(4, 15), Source: pushSource},
		},
		Cautions: []string{
			"Film with a carbon backing must not go through these baths: the carbon stays in them (" + practice + ").",
			"Aerate the bleach about 30 minutes before the run (US Army SS0514, p. 2-15).",
			"Dry at no more than 60 °C (" + sourceZ131 + ").",
		},
		Control: []ControlLimit{
			{Measure: "d_min", ActionHundredths: 3, ControlHundredths: 5, OneSided: true, Source: sourceControl},
			{Measure: "ld", ActionHundredths: 6, ControlHundredths: 8, Source: sourceControl},
			{Measure: "hd_minus_ld", ActionHundredths: 7, ControlHundredths: 9, Source: sourceControl},
		},
		Disagreements: []Disagreement{
			{Field: "/pushes/1/developing", Taken: "3:45 for one stop", Otherwise: "4:20: a third longer for each stop", Source: "textbook excerpt, second-hand"},
			{Field: "/steps/1/time", Taken: "bleach 6:30", Otherwise: "bleach 4:20", Source: sourceZ131 + ", which gives both"},
		},
		Source: sourceZ131,
	}
}

const sourceControl = "Kodak Z-131, Table 5-1, second-hand"

// cineNegative is the machine process of H-24.07 with the two steps that a
// hand line does otherwise: a prebath of a minute, and the backing off by hand.
func cineNegative() ProcessDefinition {
	backing := wash("Backing removal", ms(0, 30), 240, 300, "0:30 at 27 ± 3 °C: "+sourceHand+"; by hand: "+practice)
	backing.Role, backing.ByHand, backing.Drain = "backing-removal", true, 0
	backing.Agitation = "in the dark, wipe the base side alone, under running water, until it comes off clear"
	return ProcessDefinition{
		Code: "ecn-2", Name: "Cine colour negative ECN-2", Kind: ColourNegative,
		Steps: []Step{
			within(ms(0, 10), 0, dark(bath("prebath", "Prebath", ms(1, 0), 260, 280, "1:00 at 27 ± 1 °C: "+sourceHand+" (0:10 in a machine: "+sourceH2407+")"))),
			dark(backing),
			within(0, ms(4, 30), developer(dark(bath("developer", "Developer", ms(3, 0), 410, 412, sourceH2407+"; "+sourceMost)))),
			dark(bath("stop", "Stop bath", ms(0, 30), 270, 380, sourceH2407)),
			dark(wash("First wash", ms(0, 30), 270, 380, sourceH2407)),
			bath("bleach", "Bleach", ms(3, 0), 370, 390, sourceH2407+", ferricyanide bleach"),
			wash("Second wash", ms(1, 0), 270, 380, sourceH2407),
			bath("fixer", "Fixer", ms(2, 0), 370, 390, sourceH2407),
			wash("Final wash", ms(2, 0), 270, 380, sourceH2407),
			last("stabiliser", "Final rinse", ms(1, 0), 270, 380, "1:00 "+sourceByHand+" (0:10 in a machine: "+sourceH2407+")"),
		},
		Pushes: []Push{
			{Stops: 0, Developing: ms(3, 0), Source: sourceH2407},
			{Stops: 1, Developing: ms(3, 50), Source: "3:40 to 4:00, the middle taken: journal paper on a high-speed negative (1982), second-hand"},
		},
		Cautions: []string{
			"Film without a carbon backing needs no backing removal: it belongs to the stock, not to the process.",
			"Never let acid, or heat with acid, come to a ferricyanide bleach: it can give off hydrogen cyanide (" + memory + ").",
		},
		Disagreements: []Disagreement{
			{Field: "/steps/0/time", Taken: "prebath 1:00, by hand", Otherwise: "prebath 0:10, in a machine", Source: sourceH2407},
			{Field: "/steps/5/time", Taken: "ferricyanide bleach 3:00", Otherwise: "persulfate bleach 1:00 after an accelerator", Source: sourceH2407},
			{Field: "/pushes/1/developing", Taken: "3:50, the middle", Otherwise: "3:40 to 4:00", Source: "journal paper on a high-speed negative (1982), second-hand"},
		},
		Source: sourceH2407 + "; prebath and backing by hand: " + sourceHand,
	}
}
