package chemistry_test

import (
	"testing"

	"wetside/chemistry"
	"wetside/lab/units"
)

// An outside check holds one figure of the package against one that stands
// outside of it. Its source is as it was read: in the published text, or
// second-hand; "from memory" and "common practice" say that nobody read it.
type outside struct {
	source string
	says   string
	got    int64
	want   int64
	// within is how far the two may be apart: the source's own rounding.
	within int64
}

// fewestChecks is what the project promises.
const fewestChecks = 60

// TestOutside prints, under -v, every outside check with its source, and ends
// with their number.
func TestOutside(t *testing.T) {
	t.Parallel()
	var all []outside
	for _, part := range [][]outside{
		outsideFilm(t), outsideReversal(t), outsideNegative(t), outsideCine(t), outsideBlackAndWhite(t),
		outsideBaths(), outsideTables(t), outsideLimits(t),
	} {
		all = append(all, part...)
	}
	seen := map[string]bool{}
	for n, c := range all {
		if c.source == "" || seen[c.says] {
			t.Errorf("check %d (%s) has no source, or is there twice", n+1, c.says)
		}
		seen[c.says] = true
		if off := c.got - c.want; max(off, -off) > c.within {
			t.Errorf("%3d. %s: %d, want %d ± %d [%s]", n+1, c.says, c.got, c.want, c.within, c.source)
			continue
		}
		t.Logf("%3d. %s: %d [%s]", n+1, c.says, c.got, c.source)
	}
	if len(all) < fewestChecks {
		t.Errorf("%d checks, want %d", len(all), fewestChecks)
	}
	t.Logf("%d outside checks", len(all))
}

// yes is a fact as a figure.
func yes(is bool) int64 {
	if is {
		return 1
	}
	return 0
}

func area(t *testing.T, code string, given int64) chemistry.Areas {
	t.Helper()
	film, err := chemistry.MeasureFilm(format(t, code), given)
	if err != nil {
		t.Fatal(err)
	}
	return film.Areas
}

// step is a process's step of a role.
func step(t *testing.T, code, role string) chemistry.Step {
	t.Helper()
	for _, s := range process(t, code).Steps {
		if s.Role == role {
			return s
		}
	}
	t.Fatalf("%s has no %s", code, role)
	return chemistry.Step{}
}

// wet is a process's wet time at normal development, with some steps' times
// put in the place of its own.
func wet(t *testing.T, code string, instead map[string]units.Duration) int64 {
	t.Helper()
	sum := int64(0)
	for _, s := range process(t, code).Steps {
		if other, ok := instead[s.Role]; ok {
			sum += int64(other)
			continue
		}
		sum += int64(s.Time)
	}
	return sum
}
