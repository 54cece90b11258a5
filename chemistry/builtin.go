package chemistry

import "wetside/lab/units"

// Where the built-in processes' figures come from. Second-hand means read in a
// text that quotes the table, not in the table itself.
const (
	memory   = "from memory"
	practice = "common practice"

	sourceZ119   = "6:00 at 37.8 °C: encyclopaedia footnoted to Kodak Z-119; ±0.3 °C from memory, where an article citing a 2005 Kodak sheet has ±0.17 °C"
	sourceZ131   = "Kodak Z-131, Table 2-1, second-hand"
	sourceH2407  = "Kodak H-24.07 (1996), second-hand"
	sourceHand   = "Schaller, ECN hand-processing table (2004)"
	sourceSS0514 = "US Army SS0514 (1994), p. 4-3"
	sourceSS0509 = "US Army SS0509, p. 18"
	sourceMost   = "at most half as long again before the bath is called worn: common practice"
	sourceByHand = "by hand, as it foams in a machine: common practice"
)

// How the built-in processes agitate.
const (
	// US Army SS0514, p. 2-13 (page inferred).
	agitateRoll = "invert without pause for the first 30 s, then four times a minute"
	// NAVEDTRA 14209, by fig. 10-18.
	agitateBW    = "invert for the first 30 s, then for 5 s once a minute"
	agitateWash  = "running water, or a change every 30 s"
	agitateStill = "lower the film in, lift once, leave it still"
)

// drain is the last of every step in a tank, and inside it: US Army SS0514, p.
// 2-13 (page inferred), and NAVEDTRA 14209, by fig. 10-18.
const drain = 10 * units.Second

// ms is minutes and seconds.
func ms(minutes, seconds units.Duration) units.Duration {
	return minutes*units.Minute + seconds
}

// around is the middle and half-width of a range in tenths of a degree.
func around(low, high units.Temperature) (middle, tolerance units.Temperature) {
	return (low + high) * 50, (high - low) * 50
}

// bath is a step in the tank at lowest to highest tenths of a degree.
func bath(role, name string, time units.Duration, lowest, highest units.Temperature, source string) Step {
	t, tol := around(lowest, highest)
	return Step{Role: role, Name: name, Time: time, Temperature: t, Tolerance: tol,
		Agitation: agitateRoll, Drain: drain, Source: source}
}

// wash is a bath of water.
func wash(name string, time units.Duration, lowest, highest units.Temperature, source string) Step {
	s := bath("wash", name, time, lowest, highest, source)
	s.Water, s.Agitation = true, agitateWash
	return s
}

// last is a foaming final bath, by hand outside the tank.
func last(role, name string, time units.Duration, lowest, highest units.Temperature, source string) Step {
	s := bath(role, name, time, lowest, highest, source)
	s.ByHand, s.Agitation, s.Drain = true, agitateStill, 0
	return s
}

// dark says that light would spoil the film in the step.
func dark(s Step) Step {
	s.Dark = true
	return s
}

// developer says that push and developing time act on the step.
func developer(s Step) Step {
	s.Developer = true
	return s
}

// within bounds a step's time as it is done; 0 does not bind.
func within(shortest, longest units.Duration, s Step) Step {
	s.Shortest, s.Longest = shortest, longest
	return s
}

// slow gives a black-and-white step its gentler agitation.
func slow(s Step) Step {
	s.Agitation = agitateBW
	return s
}

// BuiltInProcesses are the processes that every lab has, each at version 1, in
// the order to show them.
func BuiltInProcesses() []Process {
	definitions := []ProcessDefinition{
		reversalSix(), reversalThree(), colourNegative(), cineNegative(), bwNegative(), bwReversal(),
	}
	out := make([]Process, len(definitions))
	for i, d := range definitions {
		out[i] = Process{ProcessDefinition: d.listed(), Version: 1, BuiltIn: true}
	}
	return out
}
