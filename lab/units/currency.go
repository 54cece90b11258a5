package units

import (
	"fmt"
	"strconv"
	"strings"
)

// exponents are the digits after the decimal mark of the currencies that have
// not two (ISO 4217, list one; from memory).
var exponents = map[string]int{
	"BIF": 0, "CLP": 0, "DJF": 0, "GNF": 0, "ISK": 0, "JPY": 0, "KMF": 0, "KRW": 0, "PYG": 0, "RWF": 0,
	"UGX": 0, "UYI": 0, "VND": 0, "VUV": 0, "XAF": 0, "XOF": 0, "XPF": 0,
	"BHD": 3, "IQD": 3, "JOD": 3, "KWD": 3, "LYD": 3, "OMR": 3, "TND": 3,
	"CLF": 4, "UYW": 4,
}

// Exponent is how many digits of a currency's amounts stand after the decimal
// mark: 2 for EUR, 0 for JPY, 3 for KWD.
func Exponent(currency string) int {
	if e, ok := exponents[currency]; ok {
		return e
	}
	return 2
}

// Decimal writes minor units of a currency as a plain decimal number: 1250 of
// EUR is 12.50, 1250 of JPY 1250.
func Decimal(minor int64, currency string) string {
	sign, digits := "", strconv.FormatInt(minor, 10)
	if minor < 0 {
		sign, digits = "-", digits[1:]
	}
	e := Exponent(currency)
	if e == 0 {
		return sign + digits
	}
	if short := e + 1 - len(digits); short > 0 {
		digits = strings.Repeat("0", short) + digits
	}
	return fmt.Sprintf("%s%s.%s", sign, digits[:len(digits)-e], digits[len(digits)-e:])
}

// String is the amount as people write it: 12.50 EUR.
func (m Money) String() string { return Decimal(m.Amount, m.Currency) + " " + m.Currency }
