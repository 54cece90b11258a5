package units_test

import (
	"math"
	"testing"

	"wetside/lab/units"
)

func TestMoneyIsWrittenByItsCurrency(t *testing.T) {
	t.Parallel()
	tests := []struct {
		amount   int64
		currency string
		want     string
	}{
		{1250, "EUR", "12.50 EUR"},
		{-1250, "EUR", "-12.50 EUR"},
		{5, "EUR", "0.05 EUR"},
		{-5, "EUR", "-0.05 EUR"},
		{0, "EUR", "0.00 EUR"},
		{1250, "JPY", "1250 JPY"},
		{-7, "JPY", "-7 JPY"},
		{1250, "KWD", "1.250 KWD"},
		{7, "KWD", "0.007 KWD"},
		{-12345, "CLF", "-1.2345 CLF"},
		{math.MinInt64, "EUR", "-92233720368547758.08 EUR"},
	}
	for _, tt := range tests {
		if got := (units.Money{Amount: tt.amount, Currency: tt.currency}).String(); got != tt.want {
			t.Errorf("%d %s is %q, want %q", tt.amount, tt.currency, got, tt.want)
		}
	}
}
