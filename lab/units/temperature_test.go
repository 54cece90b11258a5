package units_test

import (
	"testing"

	"wetside/lab/units"
)

func TestParseTemperature(t *testing.T) {
	t.Parallel()
	good := map[string]units.Temperature{
		"38 °C": 38000, "37.8 °C": 37800, "37.85°C": 37850, "-5 °C": -5000, "0.15 °C": 150, "41.1 °C": 41100,
	}
	for s, want := range good {
		got, err := units.ParseTemperature(s)
		if err != nil || got != want {
			t.Errorf("ParseTemperature(%q) = %d, %v; want %d", s, got, err, want)
		}
		if back, err := units.ParseTemperature(got.String()); err != nil || back != got {
			t.Errorf("%q written as %q reads as %d, %v", s, got.String(), back, err)
		}
	}
	for _, s := range []string{"", "38", "100 °F", "38 C", "38.1234 °C", "1000 °C", "38,5 °C", " 38 °C", "38  °C"} {
		if got, err := units.ParseTemperature(s); err == nil {
			t.Errorf("ParseTemperature(%q) = %d, want an error", s, got)
		}
	}
}
