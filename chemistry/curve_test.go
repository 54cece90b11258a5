package chemistry_test

import (
	"testing"

	"pgregory.net/rapid"

	"wetside/chemistry"
	"wetside/lab/units"
)

func curve(rate int64) chemistry.TemperatureCurve {
	return chemistry.TemperatureCurve{RatePermille: rate, Lowest: 15_000, Highest: 26_000, Source: "fitted by the lab"}
}

func TestCurve(t *testing.T) {
	t.Parallel()
	p := process(t, "bw-negative")
	c := curve(81)
	p.Temperatures, p.Curve = nil, &c
	if fs := p.Validate(); len(fs) != 0 {
		t.Fatal(fs)
	}
	for _, row := range []struct {
		at   units.Temperature
		want units.Duration // of four minutes
	}{
		{20_000, ms(4, 0)}, {20_400, ms(4, 0)}, // within tolerance
		{23_000, ms(3, 8)}, {16_000, ms(5, 32)}, // exp(−0.081·ΔT), from memory: 3:08 and 5:32
	} {
		f, err := p.AtTemperature(row.at)
		if got := chemistry.Corrected(ms(4, 0), f); err != nil || got != row.want {
			t.Errorf("at %s: %s, %v; want %s", row.at, got, err, row.want)
		}
	}
	for _, beyond := range []units.Temperature{14_999, 26_001} {
		if _, err := p.AtTemperature(beyond); err == nil {
			t.Errorf("%s is outside the curve's range", beyond)
		}
	}
	if worst, ok := p.WorstTemperature(); !ok || worst != 1499 { // e^0.405 = 1.4993
		t.Errorf("worst %d, %v", worst, ok)
	}
}

func TestCurveFalls(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		c := curve(rapid.Int64Range(1, 250).Draw(rt, "rate"))
		cold := units.Temperature(rapid.Int64Range(15_000, 26_000).Draw(rt, "cold"))
		warm := units.Temperature(rapid.Int64Range(int64(cold), 26_000).Draw(rt, "warm"))
		x, _ := c.Permille(cold, 20_000)
		y, _ := c.Permille(warm, 20_000)
		if y > x || y < 1 {
			rt.Fatalf("%d at %s, %d at %s", x, cold, y, warm)
		}
		if at, _ := c.Permille(20_000, 20_000); at != 1000 {
			rt.Fatalf("%d at normal", at)
		}
	})
}

func TestCurveFaults(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		of     string
		change func(*chemistry.TemperatureCurve)
		code   string
	}{
		"of a colour developer": {"c-41", func(c *chemistry.TemperatureCurve) { c.Lowest, c.Highest = 36_000, 39_000 }, "colour-not-corrected"},
		"beside a table":        {"bw-negative", func(*chemistry.TemperatureCurve) {}, "two-corrections"},
		"turned round":          {"bw-negative", func(c *chemistry.TemperatureCurve) { c.Highest = 14_000 }, "order"},
		"without its normal":    {"bw-negative", func(c *chemistry.TemperatureCurve) { c.Lowest = 21_000 }, "normal-missing"},
		"far too steep":         {"bw-negative", func(c *chemistry.TemperatureCurve) { c.RatePermille, c.Highest = 250, 40_000 }, "out-of-range"},
		"flat":                  {"bw-negative", func(c *chemistry.TemperatureCurve) { c.RatePermille = 0 }, "out-of-range"},
	} {
		p := process(t, c.of).ProcessDefinition
		with := curve(60)
		c.change(&with)
		p.Curve = &with
		if c.code != "two-corrections" {
			p.Temperatures = nil
		}
		found := false
		for _, f := range p.Validate() {
			found = found || f.Code == c.code
		}
		if !found {
			t.Errorf("%s: %v, want %s", name, p.Validate(), c.code)
		}
	}
}

func TestControlStrips(t *testing.T) {
	t.Parallel()
	c41 := process(t, "c-41").Control
	for i, rows := range [][]chemistry.ControlVerdict{
		// off by −9, 3, 4, 6, 8, 10 hundredths
		{"in_control", "in_control", "action", "out_of_control", "out_of_control", "out_of_control"},
		{"out_of_control", "in_control", "in_control", "in_control", "action", "out_of_control"},
		{"action", "in_control", "in_control", "in_control", "action", "out_of_control"},
	} {
		for j, off := range []int64{-9, 3, 4, 6, 8, 10} {
			if got := c41[i].Judge(off); got != rows[j] {
				t.Errorf("%s off by %d: %s, want %s", c41[i].Measure, off, got, rows[j])
			}
		}
	}
}
