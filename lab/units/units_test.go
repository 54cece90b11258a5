package units_test

import (
	"encoding/json"
	"testing"

	"pgregory.net/rapid"

	"wetside/lab/units"
)

func TestParseDuration(t *testing.T) {
	t.Parallel()
	good := map[string]units.Duration{
		"PT0S": 0, "PT1H30M": 5400, "P1D": 86400, "P1DT1S": 86401, "PT3M15S": 195, "PT90M": 5400,
	}
	for s, want := range good {
		if got, err := units.ParseDuration(s); err != nil || got != want {
			t.Errorf("ParseDuration(%q) = %d, %v; want %d", s, got, err, want)
		}
	}
	for _, s := range []string{
		"", "P", "PT", "T1S", "1H", "P1Y", "P1M", "P1W", "PT1.5S", "-PT1S", "PT-1S", "PT1S1M", "PT1M1M",
		"P1H", "PT1D", "PTT1S", "P1DT", "PT99999999999S", "PT9999999999H", "pt1s", "PT1", "PT1S ", "P200000D",
	} {
		if got, err := units.ParseDuration(s); err == nil {
			t.Errorf("ParseDuration(%q) = %d, want an error", s, got)
		}
	}
}

func TestDurationInWords(t *testing.T) {
	t.Parallel()
	for d, want := range map[units.Duration]string{0: "0 s", 195: "3 min 15 s", 3900: "1 h 5 min", 7200: "2 h", 90000: "25 h"} {
		if got := d.Words(); got != want {
			t.Errorf("%s in words is %q, want %q", d, got, want)
		}
	}
}

func TestDurationRoundTrip(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := units.Duration(rapid.Int64Range(0, 1e9).Draw(t, "d"))
		b, err := json.Marshal(d)
		if err != nil {
			t.Fatal(err)
		}
		var back units.Duration
		if err := json.Unmarshal(b, &back); err != nil || back != d {
			t.Fatalf("%s came back as %d, %v", b, back, err)
		}
	})
}

func FuzzParseDuration(f *testing.F) {
	f.Add("PT1H30M")
	f.Add("P1DT1S")
	f.Fuzz(func(t *testing.T, s string) {
		// What is accepted survives being written and read again.
		d, err := units.ParseDuration(s)
		if err != nil {
			return
		}
		if back, err := units.ParseDuration(d.String()); err != nil || back != d {
			t.Fatalf("%q gave %d, written %q, read %d, %v", s, d, d.String(), back, err)
		}
	})
}
