package chemistry

// RollEquivalentMM2 is 80 square inches (516.128 cm²) to the nearest mm²: what
// the trade calls one roll when it rates chemistry: one 135-36, one 120, half
// a 220, four 4×5 in sheets or one 8×10 in. Source: S. Anchell, The Darkroom
// Cookbook, 3rd ed. 2008, p. 108 (unit); equivalences as quoted second-hand.
const RollEquivalentMM2 = 51_613

// Areas are a film's two areas in mm².
type Areas struct {
	// Trade is what kits' rated capacities count.
	Trade int64 `json:"trade"`
	// Geometric is width × length.
	Geometric int64 `json:"geometric"`
}

// divHalfUp is a ÷ b rounded half up, for a ≥ 0 and b > 0.
func divHalfUp(a, b int64) int64 { return (a + b/2) / b }

// divUp is a ÷ b rounded up, for a ≥ 0 and b > 0.
func divUp(a, b int64) int64 { return (a + b - 1) / b }
