package shares

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"

	"wetside/lab"
	"wetside/lab/units"
)

// An Amount is minor units as a caller gives them. What is beyond 64 bits is
// read as the outermost that is within, so that it is refused for what it is
// and not as a mistake of form.
type Amount int64

// UnmarshalJSON reads an integer of any size.
func (a *Amount) UnmarshalJSON(data []byte) error {
	var n int64
	if err := json.Unmarshal(data, &n); err == nil {
		*a = Amount(n)
		return nil
	}
	digits := strings.TrimPrefix(string(data), "-")
	if digits == "" || strings.Trim(digits, "0123456789") != "" {
		return fmt.Errorf("not an integer: %.30s", data)
	}
	*a = math.MaxInt64
	if data[0] == '-' {
		*a = math.MinInt64
	}
	return nil
}

// A Price is money as a caller gives it.
type Price struct {
	Amount   Amount `json:"amount"`
	Currency string `json:"currency"`
}

// check refuses with "amount-not-positive", "amount-too-large" or
// "wrong-currency"; at points to the price.
func (p Price) check(at, currency string) error {
	if err := p.Amount.check(at + "/amount"); err != nil {
		return err
	}
	if p.Currency != currency {
		return lab.Refuse(lab.Invalid, "wrong-currency", "the lab keeps its books in %s", currency).
			With(at+"/currency", "currency", "want %s", currency)
	}
	return nil
}

func (a Amount) check(at string) error {
	switch {
	case a <= 0:
		return lab.Refuse(lab.Invalid, "amount-not-positive", "what is paid is more than nothing").
			With(at, "out-of-range", "want 1 at least")
	case a > units.MaxMoney:
		return lab.Refuse(lab.Invalid, "amount-too-large", "no amount in the books is larger than %d minor units", int64(units.MaxMoney)).
			With(at, "out-of-range", "want %d at most", int64(units.MaxMoney))
	}
	return nil
}
