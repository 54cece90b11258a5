package shares

import (
	"cmp"
	"errors"
	"math/big"
	"slices"
)

// What Apportion refuses.
var (
	// ErrNoWeight says that there is nobody to give a part to: no weights, or all zero.
	ErrNoWeight = errors.New("nothing to apportion by: all weights are zero")
	// ErrNegativeWeight says that a weight is below zero.
	ErrNegativeWeight = errors.New("a weight is negative")
)

// Apportion splits total into one whole part for each weight, in proportion to
// the weights, by the method of largest remainders (Hamilton's): every part is
// its exact quota total × weight ÷ sum of weights rounded down, and what then
// is missing goes, one unit each, to the parts that lost most by the rounding.
// Of equal losses the larger weight comes first, then the lower index.
//
// The parts add up to total exactly, each is less than one away from its
// quota, and a weight of zero gets nothing. A negative total is split like its
// opposite, with the signs turned. The arithmetic is exact for any int64.
//
// It fails with ErrNoWeight or ErrNegativeWeight. Callers should know that one
// unit more to split may make a part smaller (the Alabama paradox); so an
// amount is split once, and not in instalments.
func Apportion(total int64, weights []int64) ([]int64, error) {
	sum := new(big.Int)
	for _, w := range weights {
		if w < 0 {
			return nil, ErrNegativeWeight
		}
		sum.Add(sum, big.NewInt(w))
	}
	if sum.Sign() == 0 {
		return nil, ErrNoWeight
	}
	magnitude := new(big.Int).Abs(big.NewInt(total))
	missing := new(big.Int).Set(magnitude)
	parts := make([]*big.Int, len(weights))
	lost := make([]*big.Int, len(weights))
	order := make([]int, len(weights))
	for i, w := range weights {
		exact := new(big.Int).Mul(magnitude, big.NewInt(w))
		parts[i], lost[i] = exact.QuoRem(exact, sum, new(big.Int))
		missing.Sub(missing, parts[i])
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		return cmp.Or(lost[b].Cmp(lost[a]), cmp.Compare(weights[b], weights[a]), cmp.Compare(a, b))
	})
	// Losses are each below one unit and sum to what is missing, so there are more of them than units.
	one := big.NewInt(1)
	for _, i := range order[:missing.Int64()] {
		parts[i].Add(parts[i], one)
	}
	out := make([]int64, len(weights))
	for i, p := range parts {
		if total < 0 {
			p.Neg(p)
		}
		out[i] = p.Int64()
	}
	return out, nil
}
