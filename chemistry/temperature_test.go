package chemistry_test

import (
	"errors"
	"testing"

	"pgregory.net/rapid"

	"wetside/chemistry"
	"wetside/lab/units"
)

func TestAtTemperature(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		behaviour string
		process   string
		measured  units.Temperature
		permille  int64
		fault     string
	}{
		{"within tolerance nothing changes", "c-41", 37_900, 1000, ""},
		{"at its edge", "c-41", 37_950, 1000, ""},
		{"colour is never corrected upward", "c-41", 37_649, 0, "developer-out-of-tolerance"},
		{"nor downward", "reversal-6", 38_101, 0, "developer-out-of-tolerance"},
		// Kodak F-32, part 2: 6½, 6, 5½ and 5 minutes.
		{"6 of 6½ minutes at 21 °C", "bw-negative", 21_000, 923, ""},
		{"5½ of 6½ minutes at 22 °C", "bw-negative", 22_000, 846, ""},
		{"5 of 6½ minutes at 24 °C", "bw-negative", 24_000, 769, ""},
		{"half-way between points", "bw-negative", 23_000, 808, ""},
		{"colder than the table", "bw-negative", 19_400, 0, "temperature-not-in-table"},
		{"warmer than the table", "bw-negative", 24_001, 0, "temperature-not-in-table"},
	} {
		got, err := process(t, c.process).AtTemperature(c.measured)
		var f chemistry.Fault
		errors.As(err, &f)
		if got.Permille != c.permille || f.Code != c.fault {
			t.Errorf("%s: %d permille, %v; want %d, %q", c.behaviour, got.Permille, err, c.permille, c.fault)
		}
	}
}

// Kodak F-32, part 2, D-76 stock and 100-speed film, against whole seconds.
func TestPublishedTimesAtTemperature(t *testing.T) {
	t.Parallel()
	p := process(t, "bw-negative")
	for at, want := range map[units.Temperature]units.Duration{
		20_000: ms(6, 30), 21_000: ms(6, 0), 22_000: ms(5, 30), 24_000: ms(5, 0),
	} {
		f, err := p.AtTemperature(at)
		if err != nil {
			t.Fatal(err)
		}
		if got := chemistry.Corrected(ms(6, 30), f); got != want {
			t.Errorf("%s at %s, want %s", got, at, want)
		}
	}
}

func TestWarmUp(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		behaviour         string
		volume            int64
		room, target      units.Temperature
		watts, efficiency int64
		want              units.Duration
		refused           bool
	}{
		// 1,000 g × 18 K × 4.186 J = 75,348 J.
		{"a litre over 18 K at 1 kW", 1_000, 20_000, 38_000, 1_000, 1_000, 76, false},
		{"at four fifths of it", 1_000, 20_000, 38_000, 1_000, 800, 95, false},
		{"a whole second is not rounded up", 1_000, 20_000, 21_000, 4_186, 1_000, 1, false},
		{"five litres at 300 W", 5_000, 20_000, 37_800, 300, 900, 1_380, false},
		{"room as warm as wanted", 1_000, 20_000, 20_000, 0, 1_000, 0, false},
		{"room warmer", 1_000, 25_000, 20_000, 0, 0, 0, false},
		{"no heater", 1_000, 20_000, 38_000, 0, 1_000, 0, true},
		{"a heater that gives nothing", 1_000, 20_000, 38_000, 100, 0, 0, true},
	} {
		got, err := chemistry.WarmUp(c.volume, c.room, c.target, c.watts, c.efficiency)
		if got != c.want || (err != nil) != c.refused {
			t.Errorf("%s: %d s, %v; want %d, refused %v", c.behaviour, got, err, c.want, c.refused)
		}
	}
}

// A second less would not do, and what WarmUp says does.
func TestWarmUpIsTheLeastWholeSecond(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		volume := rapid.Int64Range(100, 200_000).Draw(rt, "volume")
		rise := rapid.Int64Range(1, 40_000).Draw(rt, "rise")
		watts := rapid.Int64Range(50, 10_000).Draw(rt, "watts")
		efficiency := rapid.Int64Range(1, 1_000).Draw(rt, "efficiency")
		got, err := chemistry.WarmUp(volume, 15_000, units.Temperature(15_000+rise), watts, efficiency)
		if err != nil {
			rt.Fatal(err)
		}
		need := 4186 * volume * rise // µJ
		if gives := int64(got) * watts * efficiency * 1000; gives < need || gives-watts*efficiency*1000 >= need {
			rt.Fatalf("%d s give %d of %d µJ", got, gives, need)
		}
	})
}
