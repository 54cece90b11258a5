package chemistry_test

import (
	"errors"
	"testing"

	"pgregory.net/rapid"

	"wetside/chemistry"
)

func format(t interface{ Fatalf(string, ...any) }, code string) chemistry.Format {
	for _, f := range chemistry.BuiltInFormats() {
		if f.Code == code {
			return f
		}
	}
	t.Fatalf("no format %q", code)
	return chemistry.Format{}
}

// Trade areas: the unit by The Darkroom Cookbook, 3rd ed. 2008, p. 108; the
// equivalences (one 135-36, one 120, half a 220, four 4×5, one 8×10) quoted
// second-hand; parts of a 135-36 by common practice. Geometric areas are width
// × length in roll-equivalents of 80 in².
func TestAreasOfBuiltInFormats(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		code             string
		given            int64
		trade, geometric int64
		permilleOfRoll   int64 // geometric
	}{
		{"135-36", 0, 51_613, 56_660, 1098},
		{"135-24", 0, 34_409, 40_221, 779},
		{"135-12", 0, 17_204, 23_783, 461},
		{"120", 0, 51_613, 50_630, 981},
		{"220", 0, 103_226, 101_260, 1962},
		{"4x5", 0, 12_903, 12_903, 250},
		{"5x7", 0, 22_581, 22_581, 438},
		{"8x10", 0, 51_613, 51_613, 1000},
		{"cine-8-15m", 0, 121_554, 121_554, 2355}, // 7.976 mm (SMPTE 149-2004) × 50 ft
		{"cine-double8", 0, 121_539, 121_539, 2355},
		{"cine-16-30m", 0, 486_156, 486_156, 9419},
		{"cine-16", 121_920, 1_944_624, 1_944_624, 37677}, // 400 ft
		{"135-bulk", 1_620, 51_613, 56_660, 1098},
		{"135-bulk", 810, 25_807, 28_330, 549},
	} {
		film, err := chemistry.MeasureFilm(format(t, c.code), c.given)
		if err != nil {
			t.Errorf("%s: %v", c.code, err)
			continue
		}
		if got := film.Areas; got.Trade != c.trade || got.Geometric != c.geometric {
			t.Errorf("%s of %d mm: areas %+v, want %d and %d", c.code, film.LengthMM, got, c.trade, c.geometric)
		}
		if got := (film.Areas.Geometric*1000 + chemistry.RollEquivalentMM2/2) / chemistry.RollEquivalentMM2; got != c.permilleOfRoll {
			t.Errorf("%s is %d permille of a roll, want %d", c.code, got, c.permilleOfRoll)
		}
	}
}

func TestLength(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		code  string
		given int64
		want  int64
		fault string
	}{
		{"135-36", 0, 1_620, ""},
		{"135-36", 1_620, 1_620, ""},
		{"135-36", 1_000, 0, "length-fixed"},
		{"cine-16", 0, 0, "length-missing"},
		{"cine-16", 99, 0, "out-of-range"},
		{"cine-16", -5, 0, "out-of-range"},
		{"cine-16", 100, 100, ""},
		{"cine-16", 123_000, 123_000, ""},
		{"cine-16", 123_001, 0, "out-of-range"},
		{"135-bulk", 5_001, 0, "out-of-range"},
	} {
		got, err := format(t, c.code).Length(c.given)
		var f chemistry.Fault
		errors.As(err, &f)
		if got != c.want || f.Code != c.fault {
			t.Errorf("%s of %d mm: %d, %v; want %d, %q", c.code, c.given, got, err, c.want, c.fault)
		}
	}
}

func TestBuiltInFormatsAreSound(t *testing.T) {
	t.Parallel()
	codes := map[string]bool{}
	for _, f := range chemistry.BuiltInFormats() {
		if fs := f.Validate(); len(fs) != 0 {
			t.Errorf("%s: %v", f.Code, fs)
		}
		if codes[f.Code] {
			t.Errorf("%s is there twice", f.Code)
		}
		codes[f.Code] = true
	}
}

func TestFormatFaults(t *testing.T) {
	t.Parallel()
	area := int64(0)
	for name, c := range map[string]struct {
		change func(*chemistry.Format)
		at     string
	}{
		"no code":              {func(f *chemistry.Format) { f.Code = "" }, "/code"},
		"capitals":             {func(f *chemistry.Format) { f.Code = "Minox" }, "/code"},
		"no name":              {func(f *chemistry.Format) { f.Name = "" }, "/name"},
		"unknown kind":         {func(f *chemistry.Format) { f.Kind = "disc" }, "/kind"},
		"too narrow":           {func(f *chemistry.Format) { f.WidthUM = 4_999 }, "/width_um"},
		"too long":             {func(f *chemistry.Format) { f.LengthMM = 5_001 }, "/length_mm"},
		"no reel":              {func(f *chemistry.Format) { f.ReelKind = "" }, "/reel_kind"},
		"no trade area":        {func(f *chemistry.Format) { f.TradeAreaMM2 = &area }, "/trade_area_mm2"},
		"hung singly":          {func(f *chemistry.Format) { f.Hang = chemistry.HangSingle }, "/hang"},
		"hung in no known way": {func(f *chemistry.Format) { f.Hang = "peg" }, "/hang"},
		"no source":            {func(f *chemistry.Format) { f.Source = "" }, "/source"},
	} {
		f := format(t, "135-36")
		c.change(&f)
		if fs := f.Validate(); len(fs) != 1 || fs[0].Pointer != c.at {
			t.Errorf("%s: %v, want one fault at %s", name, fs, c.at)
		}
	}
}

// Cutting film in two never makes the parts count, together, for more or less
// than the whole by more than rounding.
func TestAreaGoesWithLength(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		f := rapid.SampledFrom(chemistry.BuiltInFormats()).Draw(rt, "format")
		a := rapid.Int64Range(100, 60_000).Draw(rt, "a")
		b := rapid.Int64Range(100, 60_000).Draw(rt, "b")
		whole, one, two := f.Areas(a+b), f.Areas(a), f.Areas(b)
		for _, d := range []int64{whole.Trade - one.Trade - two.Trade, whole.Geometric - one.Geometric - two.Geometric} {
			if d < -1 || d > 1 {
				rt.Fatalf("%d + %d mm of %s differ from the whole by %d mm²", a, b, f.Code, d)
			}
		}
	})
}

func TestPositions(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		behaviour    string
		code         string
		length, drop int64
		want         int64
	}{
		{"a strip that fits hangs whole", "135-36", 1_620, 1_700, 1},
		{"a strip as long as the drop", "135-36", 1_620, 1_620, 1},
		{"a strip that does not fit is cut", "135-36", 1_620, 1_500, 2},
		{"and cut again", "220", 1_660, 800, 3},
		{"cine goes down and up: 15.24 m over 1.5 m", "cine-8-15m", 15_240, 1_500, 6},
		{"a loop that just fits", "cine-16", 3_000, 1_500, 1},
		{"a loop that just does not", "cine-16", 3_001, 1_500, 2},
		{"a sheet", "4x5", 127, 1_500, 1},
		{"a sheet longer than the drop does not hang there", "8x10", 254, 250, 0},
		{"nor one whose other side is", "5x7", 127, 150, 0},
		{"no drop, no place", "135-36", 1_620, 0, 0},
	} {
		if got := chemistry.Positions(format(t, c.code), c.length, c.drop); got != c.want {
			t.Errorf("%s: %d positions, want %d", c.behaviour, got, c.want)
		}
	}
}
