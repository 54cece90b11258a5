package shares_test

import (
	"errors"
	"math"
	"testing"

	"wetside/chemistry/shares"
	"wetside/lab/units"
)

func TestRate(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name               string
		price, rated, area int64
		want               int64
	}{
		{"one roll of twelve", 6000, 12 * roll, roll, 500},
		{"all of it", 5999, 12 * roll, 12 * roll, 5999},
		{"more than it is rated for", 6000, 12 * roll, 18 * roll, 9000},
		{"below half a unit", 1, 1000, 499, 0},
		{"half a unit goes up", 1, 1000, 500, 1},
		{"beyond 64 bits inside", units.MaxMoney, 1_000_000_000_000_000, 999_000_000_000_001, 999_000_000_000},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			k := shares.Terms{Price: tt.price, RatedAreaMM2: tt.rated, Rule: shares.ByArea, UnusedFallsOn: shares.Fund}
			if got, err := k.Rate(tt.area); err != nil || got != tt.want {
				t.Errorf("Rate(%d) = %d, %v; want %d", tt.area, got, err, tt.want)
			}
		})
	}
}

func TestRateRefuses(t *testing.T) {
	t.Parallel()
	k := shares.Terms{Price: units.MaxMoney, RatedAreaMM2: roll, Rule: shares.ByArea, UnusedFallsOn: shares.Fund}
	for _, area := range []int64{0, -1, roll + 1, math.MaxInt64} {
		if got, err := k.Rate(area); !errors.Is(err, shares.ErrUse) {
			t.Errorf("Rate(%d) = %d, %v", area, got, err)
		}
	}
	if got, err := (shares.Terms{}).Rate(1); !errors.Is(err, shares.ErrTerms) {
		t.Errorf("without terms: %d, %v", got, err)
	}
}
