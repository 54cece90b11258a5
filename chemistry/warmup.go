package chemistry

import "wetside/lab/units"

// specificHeat of water is 4.186 J/(g·K), in mJ; a mL of working solution is
// taken as a gram of water.
const specificHeat = 4186

// WarmUp is how long a heater of heaterW watts, of which efficiencyPermille
// reaches the solution, takes to bring volumeML from room to target, rounded
// up; none is needed if the room is as warm. Nothing is added for tempering
// the tank itself: no source gives a figure. It fails with a Fault if there is
// heating to do and no power to do it.
func WarmUp(volumeML int64, room, target units.Temperature, heaterW, efficiencyPermille int64) (units.Duration, error) {
	if target <= room {
		return 0, nil
	}
	if heaterW <= 0 || efficiencyPermille <= 0 {
		return 0, fault("", "no-heater", "there is no heater to bring the solutions from %s to %s", room, target)
	}
	if volumeML < 0 || volumeML > 10_000_000 || target-room > 200*units.DegreeCelsius {
		return 0, fault("", "out-of-range", "%d mL from %s to %s is no tank's work", volumeML, room, target)
	}
	// mJ/(g·K) × g × mK = µJ, over W × permille: seconds × 1000.
	energy := specificHeat * volumeML * int64(target-room)
	return units.Duration(divUp(energy, heaterW*efficiencyPermille*1000)), nil
}
