package chemistry_test

import (
	"fmt"

	"wetside/chemistry"
	"wetside/lab/units"
)

// A small-gauge cine roll, pushed a stop, in a first developer that has seen
// two rolls: how long, how warm and where it hangs.
func Example() {
	film, _ := chemistry.MeasureFilm(chemistry.BuiltInFormats()[9], 0)
	fmt.Printf("%d mm long, %d mm²\n", film.LengthMM, film.Areas.Trade)

	reversal := chemistry.BuiltInProcesses()[0]
	developing, _ := reversal.Developing(1, nil)
	bath := chemistry.BathDefinition{
		Role: "first-developer", Use: chemistry.Reused, VolumeML: 1_000,
		Correction: chemistry.Correction{{MM2PerL: 0, Permille: 1_000}, {MM2PerL: 8 * chemistry.RollEquivalentMM2, Permille: 1_200}},
	}
	use, _, _ := bath.Factor(2 * chemistry.RollEquivalentMM2)
	first := reversal.Schedule(1, developing, map[string]chemistry.Factor{bath.Role: use}).Steps[0]
	fmt.Println(first.Step.Name, first.Base, "becomes", first.Time)

	warm, _ := chemistry.WarmUp(5_000, 20*units.DegreeCelsius, reversal.WorkingTemperature(), 1_000, 900)
	fmt.Println("warm-up", warm, "to", reversal.WorkingTemperature())
	fmt.Println("hanging positions:", chemistry.Positions(chemistry.BuiltInFormats()[9], film.LengthMM, 1_500))
	// Output:
	// 15240 mm long, 121554 mm²
	// First developer PT6M becomes PT8M24S
	// warm-up PT6M59S to 38 °C
	// hanging positions: 6
}
