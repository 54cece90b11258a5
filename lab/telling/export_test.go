package telling

// For tests.
var (
	Public     = public
	OnlyPublic = onlyPublic
	Sign       = sign
)
