package shares

import (
	"cmp"
	"errors"
	"math"
	"math/bits"
	"slices"
)

// A Balance is what a member owes the co-op, or with a minus is owed, in minor units.
type Balance struct {
	// Member is empty for the fund.
	Member string `json:"member,omitempty"`
	Amount int64  `json:"amount"`
}

// A Payment moves money from who owes to who is owed. Empty is the fund.
type Payment struct {
	From   string `json:"from,omitempty"`
	To     string `json:"to,omitempty"`
	Amount int64  `json:"amount"`
	// Reference is what the payer quotes; Settle knows none.
	Reference string `json:"reference,omitempty"`
}

// A Settlement is a list of payments that brings all balances to zero.
type Settlement struct {
	Payments []Payment `json:"payments"`
	// FewestProved says that no other list is shorter.
	FewestProved bool `json:"fewest_proved"`
	// AtMost is what the payments can never exceed: one fewer than there are parties with a balance.
	AtMost int `json:"at_most"`
}

// What Settle refuses.
var (
	ErrUnbalanced = errors.New("the balances do not add up to zero")
	ErrTooMuch    = errors.New("the balances are too large to settle")
)

// maxExact is how many parties Settle finds the fewest payments for: the
// search looks at every subset of them, a million at most.
const maxExact = 20

// Settle finds payments that bring all balances to zero; balances of the same
// party are added up first. Only parties that owe pay, only parties that are
// owed are paid, and nobody pays in and out.
//
// n parties whose balances are not zero need n payments less the most groups
// they can be cut into that each add up to zero. Parties with opposite
// balances can always be a group of their own; of up to 20 others the best
// cut is found by looking at every subset, and so the payments are proved to
// be the fewest. Beyond that the largest debt pays the largest credit, over
// and over, which takes n−1 payments at most; those are proved the fewest only
// if there are no more of them than payers, or than payees.
//
// The answer depends only on the balances, not on their order. It fails with
// ErrUnbalanced, or with ErrTooMuch where sums could pass 64 bits.
func Settle(balances []Balance) (Settlement, error) {
	parties, err := gather(balances)
	if err != nil {
		return Settlement{}, err
	}
	s := Settlement{Payments: []Payment{}, FewestProved: true, AtMost: max(0, len(parties)-1)}
	groups, rest := opposites(parties)
	if len(rest) <= maxExact {
		groups = append(groups, zeroSums(rest)...)
	} else {
		groups = append(groups, rest)
	}
	for _, g := range groups {
		s.Payments = append(s.Payments, chain(g)...)
	}
	if len(rest) > maxExact {
		owing := 0
		for _, p := range parties {
			if p.Amount > 0 {
				owing++
			}
		}
		s.FewestProved = len(s.Payments) == max(owing, len(parties)-owing)
	}
	slices.SortFunc(s.Payments, func(a, b Payment) int {
		return cmp.Or(compareParties(a.From, b.From), compareParties(a.To, b.To))
	})
	return s, nil
}

// gather adds up each party's balances and leaves out the zero ones; the order
// is that of the ids, the fund last.
func gather(balances []Balance) ([]Balance, error) {
	sums := map[string]int64{}
	var size uint64 // of all amounts, so that no sum of any of them can pass 64 bits
	var total int64
	for _, b := range balances {
		size += magnitude(b.Amount)
		if size > math.MaxInt64 {
			return nil, ErrTooMuch
		}
		sums[b.Member] += b.Amount
		total += b.Amount
	}
	if total != 0 {
		return nil, ErrUnbalanced
	}
	parties := []Balance{}
	for member, amount := range sums {
		if amount != 0 {
			parties = append(parties, Balance{Member: member, Amount: amount})
		}
	}
	slices.SortFunc(parties, func(a, b Balance) int { return compareParties(a.Member, b.Member) })
	return parties, nil
}

func magnitude(v int64) uint64 {
	if v < 0 {
		return -uint64(v)
	}
	return uint64(v)
}

// opposites takes pairs of opposite balances out of parties. No cut into
// zero-sum groups has more groups than one with such a pair by itself: were
// the two in different groups, the others of both groups would make one; were
// they in the same, the others of it would.
func opposites(parties []Balance) (pairs [][]Balance, rest []Balance) {
	taken := make([]bool, len(parties))
	for i, p := range parties {
		for j := i + 1; j < len(parties) && !taken[i]; j++ {
			if !taken[j] && parties[j].Amount == -p.Amount {
				taken[i], taken[j] = true, true
				pairs = append(pairs, []Balance{p, parties[j]})
			}
		}
		if !taken[i] {
			rest = append(rest, p)
		}
	}
	return pairs, rest
}

// zeroSums cuts parties, which add up to zero, into the most groups that each
// do. The parties are thought of as added one by one, in the order that meets
// a sum of zero most often; best[set] is how often that is on the way to set.
func zeroSums(parties []Balance) [][]Balance {
	n := len(parties)
	best := make([]uint8, 1<<n)
	sum := make([]int64, 1<<n)
	for set := uint(1); set < 1<<n; set++ {
		sum[set] = sum[set&(set-1)] + parties[bits.TrailingZeros(set)].Amount
		for left := set; left != 0; left &= left - 1 {
			best[set] = max(best[set], best[set&^(left&-left)])
		}
		if sum[set] == 0 {
			best[set]++
		}
	}
	var groups [][]Balance
	var group []Balance
	for set := uint(1)<<n - 1; set != 0; {
		want := best[set]
		if sum[set] == 0 {
			want--
			group = nil
		}
		for left := set; left != 0; left &= left - 1 {
			if last := left & -left; best[set&^last] == want {
				group = append(group, parties[bits.TrailingZeros(last)])
				set &^= last
				break
			}
		}
		if sum[set] == 0 {
			groups = append(groups, group)
		}
	}
	return groups
}

// chain settles one group that adds up to zero: the largest debt pays the
// largest credit until one of them is used up. Every payment but the last uses
// up one party at least and the last one two, so there are fewer than parties.
func chain(group []Balance) []Payment {
	var owe, owed []Balance
	for _, b := range group {
		if b.Amount > 0 {
			owe = append(owe, b)
		} else {
			owed = append(owed, Balance{Member: b.Member, Amount: -b.Amount})
		}
	}
	largest := func(a, b Balance) int {
		return cmp.Or(cmp.Compare(b.Amount, a.Amount), compareParties(a.Member, b.Member))
	}
	slices.SortFunc(owe, largest)
	slices.SortFunc(owed, largest)
	var out []Payment
	for len(owe) > 0 {
		amount := min(owe[0].Amount, owed[0].Amount)
		out = append(out, Payment{From: owe[0].Member, To: owed[0].Member, Amount: amount})
		owe[0].Amount -= amount
		owed[0].Amount -= amount
		if owe[0].Amount == 0 {
			owe = owe[1:]
		}
		if owed[0].Amount == 0 {
			owed = owed[1:]
		}
	}
	return out
}
