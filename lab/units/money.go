package units

// Money is an amount in minor units of a currency (ISO 4217): 1250 EUR is
// twelve euros fifty. In postings a positive amount is owed to the co-op.
type Money struct {
	Amount   int64  `json:"amount"`
	Currency string `json:"currency"`
}

// MaxMoney bounds any single amount, so that sums stay exact in JSON clients
// (below 2⁵³) and in 64 bits.
const MaxMoney = 1_000_000_000_000
