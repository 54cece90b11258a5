package chemistry_test

import (
	"testing"

	"pgregory.net/rapid"

	"wetside/chemistry"
	"wetside/lab/units"
)

func TestStoredLife(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		behaviour string
		role      string
		storage   *chemistry.Storage
		want      units.Duration
	}{
		{"as the kit says", "first-developer", nil, 14 * units.Day},
		{"full", "first-developer", &chemistry.Storage{FullPermille: 1000, Seal: chemistry.Airtight}, 14 * units.Day},
		{"half full", "first-developer", &chemistry.Storage{FullPermille: 500, Seal: chemistry.Airtight}, 7 * units.Day},
		{"emptier still", "first-developer", &chemistry.Storage{FullPermille: 100, Seal: chemistry.Airtight}, 7 * units.Day},
		{"three quarters", "first-developer", &chemistry.Storage{FullPermille: 750, Seal: chemistry.Airtight}, 14 * units.Day * 3 / 4},
		{"half full, squeezed", "first-developer", &chemistry.Storage{FullPermille: 500, Seal: chemistry.Displaced}, 14 * units.Day},
		{"half full, loose", "colour-developer", &chemistry.Storage{FullPermille: 500, Seal: chemistry.Loose}, 14 * units.Day / 4},
		{"a fixer does not mind", "fixer", &chemistry.Storage{FullPermille: 100, Seal: chemistry.Loose}, 14 * units.Day},
	} {
		d := chemistry.BathDefinition{Role: c.role, Life: 14 * units.Day}
		if got := d.StoredLife(c.storage); got != c.want {
			t.Errorf("%s: %s, want %s", c.behaviour, got, c.want)
		}
	}
}

func anyStorage(rt *rapid.T) *chemistry.Storage {
	return &chemistry.Storage{FullPermille: rapid.Int64Range(1, 1000).Draw(rt, "full"),
		Seal: rapid.SampledFrom([]chemistry.Seal{chemistry.Airtight, chemistry.Displaced, chemistry.Loose}).Draw(rt, "seal")}
}

// Fuller and tighter never keeps for less, and bottling a bath anew never
// makes it live beyond its life as the kit gives it.
func TestStorageIsMonotone(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		s := anyStorage(rt)
		fuller := *s
		fuller.FullPermille = rapid.Int64Range(s.FullPermille, 1000).Draw(rt, "fuller")
		if fuller.LifePermille("developer") < s.LifePermille("developer") {
			rt.Fatalf("%+v keeps longer than %+v", s, fuller)
		}
		d := chemistry.BathDefinition{Role: "developer", Life: 10 * units.Day}
		expires, now, from := mixed.Add(d.StoredLife(s).Std()), mixed, s
		for range rapid.IntRange(0, 4).Draw(rt, "times") {
			now = now.Add(day)
			to := anyStorage(rt)
			expires = d.Restored(expires, now, from, to)
			from = to
		}
		if expires.After(mixed.Add(d.Life.Std())) {
			rt.Fatalf("lives until %s", expires)
		}
	})
}
