package chemistry

import (
	"fmt"

	"wetside/lab/units"
)

// A Correction is what a used bath does to a step's time: a kit's table of
// factors by the film area each litre has seen, from none on, in straight
// lines between its points. Beyond the last one the bath is not to be used. An
// empty one corrects nothing.
type Correction []CorrectionPoint

// A CorrectionPoint is the step's time at a use, in permille of that in a fresh bath.
type CorrectionPoint struct {
	MM2PerL  int64 `json:"mm2_per_l"`
	Permille int64 `json:"permille"`
}

// Permille is the factor at a use of mm2PerL before the run. It does not
// depend on what else is in the run: common practice corrects for the bath as
// it is when the run begins. It fails with a Fault past the table's end.
func (c Correction) Permille(mm2PerL int64) (int64, error) {
	if len(c) == 0 {
		return 1000, nil
	}
	last := c[0]
	for _, next := range c {
		if mm2PerL <= next.MM2PerL {
			return interpolate(max(mm2PerL, last.MM2PerL), last.MM2PerL, next.MM2PerL, last.Permille, next.Permille), nil
		}
		last = next
	}
	return 0, fault("", "correction-ends", "the bath has seen %d mm² per litre and its table of corrections ends at %d", mm2PerL, last.MM2PerL)
}

// End is the last use that the table knows; false if it is empty.
func (c Correction) End() (mm2PerL int64, ok bool) {
	if len(c) == 0 {
		return 0, false
	}
	return c[len(c)-1].MM2PerL, true
}

// A CorrectionRate is a table of corrections that rises in one straight line,
// as some kits' sheets put it: so many thousandths more for each roll-equivalent
// that a litre has seen, up to an end.
type CorrectionRate struct {
	PermillePerRoll int64 `json:"permille_per_roll"`
	UntilMM2PerL    int64 `json:"until_mm2_per_l"`
}

func (r CorrectionRate) table() Correction {
	return Correction{{0, 1000}, {r.UntilMM2PerL, 1000 + divHalfUp(r.PermillePerRoll*r.UntilMM2PerL, RollEquivalentMM2)}}
}

func (r *CorrectionRate) check(fs *faults, at string) {
	if r == nil {
		return
	}
	n := len(*fs)
	fs.between(at+"/permille_per_roll", r.PermillePerRoll, 1, mostPermille)
	fs.between(at+"/until_mm2_per_l", r.UntilMM2PerL, 1, mostArea)
	if len(*fs) > n {
		return
	}
	if end := r.table()[1].Permille; end > mostPermille {
		fs.add(at, "out-of-range", "by its end the time is %d ‰ of a fresh bath's; want at most %d", end, mostPermille)
	}
}

func (c Correction) check(fs *faults, at string) {
	if len(c) == 0 {
		return
	}
	fs.between(at, int64(len(c)), 2, 100)
	if c[0].MM2PerL != 0 {
		fs.add(at+"/0/mm2_per_l", "first-point", "the table begins with the fresh bath, at 0 mm² per litre")
	}
	for i, point := range c {
		here := fmt.Sprintf("%s/%d", at, i)
		fs.between(here+"/permille", point.Permille, leastPermille, mostPermille)
		fs.between(here+"/mm2_per_l", point.MM2PerL, 0, mostArea)
		if i > 0 && (point.MM2PerL <= c[i-1].MM2PerL || point.Permille < c[i-1].Permille) {
			fs.add(here, "order", "more use, and a factor no smaller, than the point before")
		}
	}
}

// A Factor is one correction of a step's time, as a run sheet shows it.
type Factor struct {
	Name string `json:"factor"`
	// Permille multiplies the time; 0 says that Add is added instead.
	Permille int64          `json:"permille,omitempty"`
	Add      units.Duration `json:"add,omitempty"`
	Source   string         `json:"source"`
}

// Corrected is base with the factors on it: first what adds, then what
// multiplies, rounded half up once, to whole seconds; at least one second.
func Corrected(base units.Duration, factors ...Factor) units.Duration {
	t := int64(base)
	for _, f := range factors {
		if f.Permille == 0 {
			t += int64(f.Add)
		}
	}
	num, den := max(t, 1), int64(1)
	for _, f := range factors {
		if f.Permille != 0 {
			num, den = num*f.Permille, den*1000
		}
	}
	return units.Duration(max(divHalfUp(num, den), 1))
}
