package chemistry_test

import (
	"errors"
	"testing"

	"wetside/chemistry"
	"wetside/lab/units"
)

func TestReadingsAreHeldAgainstLimits(t *testing.T) {
	t.Parallel()
	c41 := process(t, "c-41")
	limits := &chemistry.BathLimits{PHLow: 1_000, PHHigh: 1_010, GravityLow: 1_035, GravityHigh: 1_040, FreshClearing: 45, Source: "the supplier's sheet"}
	var steps []chemistry.DoneStep
	for _, s := range c41.Steps {
		steps = append(steps, chemistry.DoneStep{Step: s, Base: s.Time, Sheet: s.Time, Limits: limits})
	}
	pushed := steps[0]
	pushed.Base, pushed.Sheet = ms(4, 15), ms(4, 30) // pushed two stops, in a used bath
	temp := func(mc units.Temperature) *units.Temperature { return &mc }
	for _, c := range []struct {
		behaviour string
		steps     []chemistry.DoneStep
		read      chemistry.StepReading
		code      string
	}{
		{"all as it should be", steps, chemistry.StepReading{Step: 1, TemperatureStart: temp(37_800), TemperatureEnd: temp(37_650), Time: ptr(ms(3, 20)),
			PH: ptr[int64](1_005), Gravity: ptr[int64](1_040)}, ""},
		{"too cold at its end", steps, chemistry.StepReading{Step: 1, TemperatureEnd: temp(37_649)}, "temperature"},
		{"too warm at its start", steps, chemistry.StepReading{Step: 2, TemperatureStart: temp(41_001)}, "temperature"},
		{"a developer a tenth too long", steps, chemistry.StepReading{Step: 1, Time: ptr(ms(3, 35))}, "time"},
		{"past its longest", steps, chemistry.StepReading{Step: 1, Time: ptr(ms(5, 0))}, "time"},
		{"its longest moves with the push", []chemistry.DoneStep{pushed}, chemistry.StepReading{Step: 1, Time: ptr(ms(4, 40))}, ""},
		{"a bleach cut short", steps, chemistry.StepReading{Step: 2, Time: ptr(ms(4, 19))}, "time"},
		{"a bleach as short as may be", steps, chemistry.StepReading{Step: 2, Time: ptr(ms(4, 20))}, ""},
		{"a bleach left longer", steps, chemistry.StepReading{Step: 2, Time: ptr(ms(20, 0))}, ""},
		{"too acid", steps, chemistry.StepReading{Step: 1, PH: ptr[int64](999)}, "ph"},
		{"too heavy", steps, chemistry.StepReading{Step: 1, Gravity: ptr[int64](1_041)}, "gravity"},
		{"a fixer that clears in twice the time", steps, chemistry.StepReading{Step: 4, Clearing: ptr(ms(1, 30))}, "fixer-exhausted"},
		{"a fixer that does not yet", steps, chemistry.StepReading{Step: 4, Clearing: ptr(ms(1, 29))}, ""},
	} {
		got, err := chemistry.Reading{Steps: []chemistry.StepReading{c.read}}.Judge(c.steps, c41.Control)
		if err != nil {
			t.Fatal(err)
		}
		if c.code == "" && len(got) != 0 || c.code != "" && (len(got) != 1 || got[0].Code != c.code || got[0].Source == "" || got[0].Step != c.read.Step) {
			t.Errorf("%s: %+v, want %q", c.behaviour, got, c.code)
		}
	}
	strip := chemistry.Reading{Control: []chemistry.DensityReading{{Measure: "d_min", OffHundredths: 4}, {Measure: "ld", OffHundredths: -9}, {Measure: "hd_minus_ld", OffHundredths: 7}}}
	got, err := strip.Judge(steps, c41.Control)
	if err != nil || len(got) != 2 || got[0].Code != "control-action" || got[1].Code != "control-out" {
		t.Errorf("%+v, %v", got, err)
	}
	var f chemistry.Fault
	for _, wrong := range []chemistry.Reading{
		{Steps: []chemistry.StepReading{{Step: 7}}}, {Steps: []chemistry.StepReading{{Step: 0}}}, {Control: []chemistry.DensityReading{{Measure: "gloss"}}},
	} {
		if _, err := wrong.Judge(steps, c41.Control); !errors.As(err, &f) {
			t.Errorf("%+v is judged: %v", wrong, err)
		}
	}
}

func TestWhatMustNotBeMixed(t *testing.T) {
	t.Parallel()
	for _, i := range chemistry.Incompatibilities() {
		if i.One == "" || i.Other == "" || i.Because == "" || i.Source == "" {
			t.Errorf("%+v", i)
		}
	}
}
