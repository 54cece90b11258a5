package chemistry

import (
	"fmt"

	"wetside/lab/units"
)

// A TemperatureCurve corrects a black-and-white developing time where there is
// no table: time = normal time × exp(−rate × (temperature − normal
// temperature)), from Lowest to Highest and nowhere else.
type TemperatureCurve struct {
	// RatePermille is the fall of the time in thousandths a degree: 81 is
	// exp(−0.081 × ΔT).
	RatePermille int64             `json:"rate_permille"`
	Lowest       units.Temperature `json:"lowest"`
	Highest      units.Temperature `json:"highest"`
	Source       string            `json:"source"`
}

// Permille is the factor at a temperature, rounded half up, where the curve is
// 1000 at normal; false outside its range.
func (c TemperatureCurve) Permille(at, normal units.Temperature) (int64, bool) {
	if at < c.Lowest || at > c.Highest {
		return 0, false
	}
	return expPermille(-c.RatePermille * int64(at-normal)), true
}

// expPermille is 1000·e^x, half up, for x in millionths, within ±5; integers
// alone, so that every machine has the same times.
func expPermille(x int64) int64 {
	const one = 1_000_000_000 // 1.0
	negative := x < 0
	if negative {
		x = -x
	}
	// e^x = (e^(x/16))^16: the series of a small number ends soon.
	small := x * (one / 1_000_000) / 16
	sum, term := int64(one), int64(one)
	for n := int64(1); term > 0; n++ {
		term = term * small / one / n
		sum += term
	}
	for range 4 {
		sum = divHalfUp(sum/1000*(sum/1000), one/1_000_000)
	}
	if negative {
		return divHalfUp(1000*one, sum)
	}
	return divHalfUp(sum*1000, one)
}

// widestCurve bounds rate × span so that a factor stays within what tables may
// hold: e^±1.6 is 0.202 to 4.95.
const widestCurve = 1_600_000

func (d ProcessDefinition) checkCurve(fs *faults) {
	c := d.Curve
	if c == nil {
		return
	}
	if !d.Kind.BlackAndWhite() {
		fs.add("/curve", "colour-not-corrected", "a colour developer outside its tolerance is never corrected: leave the curve out")
	}
	if len(d.Temperatures) > 0 {
		fs.add("/curve", "two-corrections", "temperature is corrected by a table or by a curve, not by both")
	}
	fs.between("/curve/rate_permille", c.RatePermille, 1, 250)
	if c.Lowest <= 0 || c.Highest > hottest || c.Highest <= c.Lowest {
		fs.add("/curve/highest", "order", "want a range above 0 °C, up to %s, its highest above its lowest", hottest)
	}
	normal := (Process{ProcessDefinition: d}).DeveloperStep().Temperature
	if normal < c.Lowest || normal > c.Highest {
		fs.add("/curve", "normal-missing", "the curve's range leaves out the developer's own %s", normal)
	} else if c.RatePermille*int64(max(c.Highest-normal, normal-c.Lowest)) > widestCurve {
		fs.add("/curve", "out-of-range", "so steep a curve over so wide a range is no fit of a developer")
	}
	fs.text("/curve/source", c.Source, 500)
}

func (c TemperatureCurve) factor(p Process, at units.Temperature) (Factor, error) {
	permille, ok := c.Permille(at, p.DeveloperStep().Temperature)
	if !ok {
		return Factor{}, fault("/temperature", "temperature-not-in-table", "the curve holds from %s to %s, not at %s", c.Lowest, c.Highest, at)
	}
	return Factor{Name: "developer at " + at.String(), Permille: permille,
		Source: fmt.Sprintf("curve, rate 0.%03d a degree, %s to %s: %s", c.RatePermille, c.Lowest, c.Highest, c.Source)}, nil
}

// WorstTemperature is the greatest factor that AtTemperature may answer; false
// if it never answers more than 1000.
func (p Process) WorstTemperature() (permille int64, ok bool) {
	worst := int64(1000)
	for _, t := range p.Temperatures {
		worst = max(worst, t.Permille)
	}
	if c := p.Curve; c != nil {
		if at, in := c.Permille(c.Lowest, p.DeveloperStep().Temperature); in {
			worst = max(worst, at)
		}
	}
	return worst, worst > 1000
}
