package chemistry

import (
	"fmt"

	"wetside/lab/units"
)

// BathLimits are what readings of a bath should be, as its supplier says. What
// is not given is not looked at.
type BathLimits struct {
	// PHLow and PHHigh are in hundredths: 1025 is pH 10.25.
	PHLow  int64 `json:"ph_low_hundredths,omitempty"`
	PHHigh int64 `json:"ph_high_hundredths,omitempty"`
	// GravityLow and GravityHigh are in thousandths: 1040 is 1.040.
	GravityLow  int64 `json:"gravity_low_thousandths,omitempty"`
	GravityHigh int64 `json:"gravity_high_thousandths,omitempty"`
	// FreshClearing is how long a fixer takes to clear film when fresh; at
	// twice that it is exhausted.
	FreshClearing units.Duration `json:"fresh_clearing,omitempty"`
	Source        string         `json:"source"`
}

func (l *BathLimits) check(fs *faults, at string) {
	if l == nil {
		return
	}
	fs.between(at+"/ph_low_hundredths", l.PHLow, 0, 1400)
	fs.between(at+"/ph_high_hundredths", l.PHHigh, 0, 1400)
	fs.between(at+"/gravity_low_thousandths", l.GravityLow, 0, 2000)
	fs.between(at+"/gravity_high_thousandths", l.GravityHigh, 0, 2000)
	fs.span(at+"/fresh_clearing", l.FreshClearing, 0, units.Hour)
	if l.PHHigh < l.PHLow || l.GravityHigh < l.GravityLow {
		fs.add(at, "order", "a limit's upper end is below its lower one")
	}
	fs.text(at+"/source", l.Source, 500)
}

// A Reading is what was read of a run: of its steps, and of its control strip.
type Reading struct {
	Steps   []StepReading    `json:"steps,omitempty"`
	Control []DensityReading `json:"control,omitempty"`
	Note    string           `json:"note,omitempty"`
}

// A StepReading is what was read of one step of a run.
type StepReading struct {
	// Step is its number on the run sheet.
	Step             int                `json:"step"`
	TemperatureStart *units.Temperature `json:"temperature_start,omitempty"`
	TemperatureEnd   *units.Temperature `json:"temperature_end,omitempty"`
	// Time is as it was done.
	Time *units.Duration `json:"time,omitempty"`
	// PH is in hundredths, Gravity in thousandths, as in BathLimits.
	PH      *int64 `json:"ph_hundredths,omitempty"`
	Gravity *int64 `json:"gravity_thousandths,omitempty"`
	// Clearing is the fixer's clearing time.
	Clearing *units.Duration `json:"clearing,omitempty"`
}

// A DensityReading is a control strip's density against its reference.
type DensityReading struct {
	Measure       string `json:"measure"`
	OffHundredths int64  `json:"off_hundredths"`
}

// A Warning is a reading beyond its limit.
type Warning struct {
	// Step is the number of the step it is about; 0 is the control strip's.
	Step   int    `json:"step,omitempty"`
	Code   string `json:"code"`
	Detail string `json:"detail"`
	Source string `json:"source"`
}

// DoneStep is a step of a run as its sheet had it, for Judge.
type DoneStep struct {
	Step
	// Base is its normal time, Sheet what the sheet asked for.
	Base, Sheet units.Duration
	Limits      *BathLimits
}

// offTime is how far, in permille, a step may be off its sheet: contrast is
// adjusted by 10 to 15 % of the developing time (Kodak F-4016), so a twentieth
// shows already.
const offTime = 50

// Judge is what a run's readings call for, by the steps of its sheet in order
// and the process's control limits. It fails with a Fault at a reading that is
// of no step, or of no density that the process has limits for.
func (r Reading) Judge(steps []DoneStep, control []ControlLimit) ([]Warning, error) {
	warnings := []Warning{}
	for i, read := range r.Steps {
		if read.Step < 1 || read.Step > len(steps) {
			return nil, fault(fmt.Sprintf("/steps/%d/step", i), "no-such-step", "the run has steps 1 to %d", len(steps))
		}
		warnings = append(warnings, read.judge(steps[read.Step-1])...)
	}
	for i, read := range r.Control {
		limit, ok := find(control, func(l ControlLimit) bool { return l.Measure == read.Measure })
		if !ok {
			return nil, fault(fmt.Sprintf("/control/%d/measure", i), "no-such-measure", "the process has no control limits for %q", read.Measure)
		}
		if verdict := limit.Judge(read.OffHundredths); verdict != InControl {
			code, bound := "control-action", limit.ActionHundredths
			if verdict == OutOfControl {
				code, bound = "control-out", limit.ControlHundredths
			}
			warnings = append(warnings, Warning{Code: code,
				Detail: fmt.Sprintf("%s is off its reference by %+d hundredths, the limit is %d", read.Measure, read.OffHundredths, bound), Source: limit.Source})
		}
	}
	return warnings, nil
}

func (read StepReading) judge(s DoneStep) []Warning {
	var out []Warning
	warn := func(code, source, format string, args ...any) {
		out = append(out, Warning{Step: read.Step, Code: code, Source: source, Detail: s.Name + ": " + fmt.Sprintf(format, args...)})
	}
	for i, t := range []*units.Temperature{read.TemperatureStart, read.TemperatureEnd} {
		if t != nil && (*t < s.Lowest() || *t > s.Highest()) {
			warn("temperature", s.Source, "%s at its %s is outside %s to %s", *t, []string{"start", "end"}[i], s.Lowest(), s.Highest())
		}
	}
	if read.Time != nil {
		longest, shortest := s.LongestAt(s.Base), s.ShortestAt(s.Base)
		switch off := int64(*read.Time - s.Sheet); {
		case longest != 0 && *read.Time > longest:
			warn("time", s.Source, "took %s, its longest is %s", *read.Time, longest)
		case *read.Time < shortest:
			warn("time", s.Source, "took %s, its shortest is %s", *read.Time, shortest)
		case s.Developer && max(off, -off)*1000 > int64(s.Sheet)*offTime:
			warn("time", practice, "took %s where the sheet has %s", *read.Time, s.Sheet)
		}
	}
	if l := s.Limits; l != nil {
		if read.PH != nil && l.PHHigh > 0 && (*read.PH < l.PHLow || *read.PH > l.PHHigh) {
			warn("ph", l.Source, "pH %s is outside %s to %s", decimal(*read.PH, 2), decimal(l.PHLow, 2), decimal(l.PHHigh, 2))
		}
		if read.Gravity != nil && l.GravityHigh > 0 && (*read.Gravity < l.GravityLow || *read.Gravity > l.GravityHigh) {
			warn("gravity", l.Source, "specific gravity %s is outside %s to %s", decimal(*read.Gravity, 3), decimal(l.GravityLow, 3), decimal(l.GravityHigh, 3))
		}
		if read.Clearing != nil && l.FreshClearing > 0 {
			if fix, exhausted := ClearingTest(l.FreshClearing, *read.Clearing); exhausted {
				warn("fixer-exhausted", sourceClearing, "clears in %s, twice its %s when fresh or more; film in it now would take %s", *read.Clearing, l.FreshClearing, fix)
			}
		}
	}
	return out
}

// decimal writes n with so many decimals.
func decimal(n int64, places int) string {
	s := fmt.Sprintf("%0*d", places+1, n)
	return s[:len(s)-places] + "." + s[len(s)-places:]
}

func find[T any](items []T, is func(T) bool) (T, bool) {
	for _, x := range items {
		if is(x) {
			return x, true
		}
	}
	var none T
	return none, false
}
