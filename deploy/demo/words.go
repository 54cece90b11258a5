package demo

import "fmt"

// pushed is a push or pull in words; "" is none.
func pushed(stops int) string {
	switch {
	case stops > 0:
		return fmt.Sprintf(" push %+d", stops)
	case stops < 0:
		return fmt.Sprintf(" pull %+d", stops)
	}
	return ""
}

// money is an amount with two decimals and its currency.
func money(minor int64, currency string) string {
	sign := ""
	if minor < 0 {
		sign, minor = "-", -minor
	}
	return fmt.Sprintf("%s%d.%02d %s", sign, minor/100, minor%100, currency)
}

// count is a number of things in words.
func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
