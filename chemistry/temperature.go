package chemistry

import (
	"fmt"

	"wetside/lab/units"
)

// A TemperaturePoint is a developing time at a temperature, in permille of
// that at the developer's own.
type TemperaturePoint struct {
	Temperature units.Temperature `json:"temperature"`
	Permille    int64             `json:"permille"`
}

// AtTemperature is the factor on the developing time when the developer is
// measured to be so warm. Within the step's tolerance it is 1000. A colour
// developer outside it is refused, never corrected; a black-and-white one is
// corrected between the points of its table, or on its curve, and refused beyond
// them. It fails
// with a Fault.
func (p Process) AtTemperature(measured units.Temperature) (Factor, error) {
	s := p.DeveloperStep()
	name := "developer at " + measured.String()
	if measured >= s.Lowest() && measured <= s.Highest() {
		return Factor{Name: name, Permille: 1000, Source: "within tolerance"}, nil
	}
	if !p.Kind.BlackAndWhite() {
		return Factor{}, fault("/temperature", "developer-out-of-tolerance",
			"%s at %s is outside %s to %s; a colour developer's layers do not change alike, so its time cannot be corrected: bring it to temperature",
			s.Name, measured, s.Lowest(), s.Highest())
	}
	if p.Curve != nil {
		return p.Curve.factor(p, measured)
	}
	t := p.Temperatures
	if len(t) == 0 || measured < t[0].Temperature || measured > t[len(t)-1].Temperature {
		return Factor{}, fault("/temperature", "temperature-not-in-table",
			"%s at %s is outside its tolerance and its table: bring it to temperature", s.Name, measured)
	}
	last := t[0]
	for _, next := range t {
		if measured <= next.Temperature {
			return Factor{Name: name, Source: "table of " + p.Name, Permille: interpolate(int64(measured),
				int64(last.Temperature), int64(next.Temperature), last.Permille, next.Permille)}, nil
		}
		last = next
	}
	return Factor{}, fault("/temperature", "temperature-not-in-table", "no point of the table is above %s", measured)
}

// interpolate is the height at x of the line from (x0, y0) to (x1, y1), x0 ≤ x
// ≤ x1 and heights positive, rounded half up.
func interpolate(x, x0, x1, y0, y1 int64) int64 {
	if x1 == x0 {
		return y1
	}
	return divHalfUp(y0*(x1-x)+y1*(x-x0), x1-x0)
}

func (d ProcessDefinition) checkTemperatures(fs *faults) {
	if len(d.Temperatures) == 0 {
		return
	}
	if !d.Kind.BlackAndWhite() {
		fs.add("/temperatures", "colour-not-corrected", "a colour developer outside its tolerance is never corrected: leave the table out")
	}
	fs.between("/temperatures", int64(len(d.Temperatures)), 2, mostTemperates)
	for i, point := range d.Temperatures {
		at := fmt.Sprintf("/temperatures/%d", i)
		fs.between(at+"/permille", point.Permille, leastPermille, mostPermille)
		if point.Temperature <= 0 || point.Temperature > hottest {
			fs.add(at+"/temperature", "out-of-range", "want above 0 °C to %s, not %s", hottest, point.Temperature)
		}
		if i == 0 {
			continue
		}
		if before := d.Temperatures[i-1]; point.Temperature <= before.Temperature || point.Permille > before.Permille {
			fs.add(at, "order", "warmer develops no slower: list the points from cold to warm")
		}
	}
}
