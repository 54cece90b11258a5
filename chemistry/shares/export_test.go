package shares

// What properties are tried on without a database.
var (
	PurchaseEntry = purchaseEntry
	ChargeEntry   = chargeEntry
	ClosingEntry  = closingEntry
	ReversalOf    = reversalOf
	PaymentEntry  = paymentEntry
)
