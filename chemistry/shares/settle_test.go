package shares_test

import (
	"errors"
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"wetside/chemistry/shares"
)

// parties makes balances of members mem_00, mem_01, … and the fund, which takes what is left.
func parties(amounts ...int64) []shares.Balance {
	out := []shares.Balance{}
	var sum int64
	for i, a := range amounts {
		out = append(out, shares.Balance{Member: fmt.Sprintf("mem_%02d", i), Amount: a})
		sum += a
	}
	return append(out, shares.Balance{Amount: -sum})
}

func TestSettle(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name     string
		balances []shares.Balance
		want     shares.Settlement
	}{
		{"nobody", nil, shares.Settlement{Payments: []shares.Payment{}, FewestProved: true}},
		{"all even", parties(0, 0), shares.Settlement{Payments: []shares.Payment{}, FewestProved: true}},
		{"one owes the fund", parties(250), shares.Settlement{
			Payments: []shares.Payment{{From: "mem_00", Amount: 250}}, FewestProved: true, AtMost: 1,
		}},
		{"the fund owes one", parties(-250), shares.Settlement{
			Payments: []shares.Payment{{To: "mem_00", Amount: 250}}, FewestProved: true, AtMost: 1,
		}},
		{"balances of one party are added up", append(parties(100), shares.Balance{Member: "mem_00", Amount: -30},
			shares.Balance{Amount: 30}), shares.Settlement{
			Payments: []shares.Payment{{From: "mem_00", Amount: 70}}, FewestProved: true, AtMost: 1,
		}},
		// Of six parties two groups add up to zero: {9, −8, −1} and {7, −4, −3}, so four payments and not five.
		{"two hidden groups of three", parties(9, 7, -8, -4, -3), shares.Settlement{
			Payments: []shares.Payment{
				{From: "mem_00", To: "mem_02", Amount: 8}, {From: "mem_00", Amount: 1},
				{From: "mem_01", To: "mem_03", Amount: 4}, {From: "mem_01", To: "mem_04", Amount: 3},
			}, FewestProved: true, AtMost: 5,
		}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got, err := shares.Settle(tt.balances)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(tt.want, got); diff != "" {
				t.Errorf("want -, got +:\n%s", diff)
			}
		})
	}
}

func TestSettleRefuses(t *testing.T) {
	t.Parallel()
	if _, err := shares.Settle([]shares.Balance{{Member: "a", Amount: 1}}); !errors.Is(err, shares.ErrUnbalanced) {
		t.Errorf("one cent out: %v", err)
	}
	for _, huge := range []int64{math.MaxInt64, math.MinInt64} {
		b := []shares.Balance{{Member: "a", Amount: huge}, {Member: "b", Amount: -huge}}
		if _, err := shares.Settle(b); !errors.Is(err, shares.ErrTooMuch) {
			t.Errorf("%d: %v", huge, err)
		}
	}
}

func paymentsSettle(t *testing.T) {
	amount := rapid.OneOf(rapid.Int64Range(-9, 9), rapid.Int64Range(-100000, 100000))
	check(t, func(t *rapid.T) {
		balances := parties(rapid.SliceOfN(amount, 0, 11).Draw(t, "amounts")...)
		s, err := shares.Settle(balances)
		if err != nil {
			t.Fatal(err)
		}
		if !s.FewestProved {
			t.Fatalf("not proved for %d parties", len(balances))
		}
		brings(t, balances, s)
		moved, err := shares.Settle(rapid.Permutation(balances).Draw(t, "moved"))
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(s, moved); diff != "" {
			t.Fatalf("the order of balances matters:\n%s", diff)
		}
	})
}

// brings fails unless the payments bring all balances to zero, within the
// bound, each from a debtor to a creditor and of something.
func brings(t *rapid.T, balances []shares.Balance, s shares.Settlement) {
	left, parties := map[string]int64{}, 0
	for _, b := range balances {
		left[b.Member] += b.Amount
	}
	start := map[string]int64{}
	for m, v := range left {
		start[m] = v
		if v != 0 {
			parties++
		}
	}
	for _, p := range s.Payments {
		if p.Amount <= 0 || start[p.From] <= 0 || start[p.To] >= 0 {
			t.Fatalf("payment %+v of balances %v", p, start)
		}
		left[p.From] -= p.Amount
		left[p.To] += p.Amount
	}
	for m, v := range left {
		if v != 0 {
			t.Fatalf("%q is left with %d after %v", m, v, s.Payments)
		}
	}
	if s.AtMost != max(0, parties-1) || len(s.Payments) > s.AtMost {
		t.Fatalf("%d payments, at most %d, %d parties", len(s.Payments), s.AtMost, parties)
	}
}

// Up to eight parties: no list of payments is shorter, by trying all of them.
func paymentsAreFewest(t *testing.T) {
	check(t, func(t *rapid.T) {
		balances := parties(rapid.SliceOfN(rapid.Int64Range(-6, 6), 0, 7).Draw(t, "amounts")...)
		s, err := shares.Settle(balances)
		if err != nil {
			t.Fatal(err)
		}
		brings(t, balances, s)
		amounts := []int64{}
		for _, b := range balances {
			amounts = append(amounts, b.Amount)
		}
		if least := fewest(amounts); len(s.Payments) != least {
			t.Fatalf("%d payments for %v, %d would do", len(s.Payments), amounts, least)
		}
	})
}

// fewest is the least number of payments that settle amounts: the first party
// with a balance pays, or is paid by, each other of opposite sign its whole
// balance, which some shortest list begins with (that of the plain textbook search).
func fewest(amounts []int64) int {
	for len(amounts) > 0 && amounts[0] == 0 {
		amounts = amounts[1:]
	}
	if len(amounts) == 0 {
		return 0
	}
	least := math.MaxInt
	rest := amounts[1:]
	for i, b := range rest {
		if b == 0 || b > 0 == (amounts[0] > 0) {
			continue
		}
		rest[i] += amounts[0]
		least = min(least, 1+fewest(rest))
		rest[i] = b
	}
	return least
}

// More parties than are searched through: still all to zero within the bound,
// and a claim to be the fewest only where each payer pays once or each payee is paid once.
func manySettleWithinTheBound(t *testing.T) {
	check(t, func(t *rapid.T) {
		// Multiples of ten and one each, positive or all distinct, so that few are opposite.
		n := rapid.IntRange(25, 60).Draw(t, "n")
		amounts := make([]int64, n)
		for i := range amounts {
			amounts[i] = rapid.Int64Range(1, 1000).Draw(t, "amount") * 10
			if i%2 == 1 {
				amounts[i] = -amounts[i] - 1
			}
		}
		balances := parties(amounts...)
		s, err := shares.Settle(balances)
		if err != nil {
			t.Fatal(err)
		}
		brings(t, balances, s)
		from, to := map[string]bool{}, map[string]bool{}
		for _, p := range s.Payments {
			from[p.From], to[p.To] = true, true
		}
		if proved := len(s.Payments) == max(len(from), len(to)); s.FewestProved != proved {
			t.Fatalf("says proved %v: %d payments, %d payers, %d payees", s.FewestProved, len(s.Payments), len(from), len(to))
		}
	})
}

func TestSettleProvesManyToOne(t *testing.T) {
	t.Parallel()
	amounts := []int64{}
	for i := range int64(40) {
		amounts = append(amounts, 100+i)
	}
	s, err := shares.Settle(parties(amounts...))
	if err != nil || !s.FewestProved || len(s.Payments) != 40 {
		t.Errorf("40 members owe the fund: %d payments, proved %v, %v", len(s.Payments), s.FewestProved, err)
	}
}

// Twenty parties of which none are opposite are searched through in a moment.
func TestSettleTwentyParties(t *testing.T) {
	t.Parallel()
	// Powers of three: no sum of some of them and minus all of them is zero but the whole.
	amounts := []int64{}
	power := int64(1)
	for range 19 {
		amounts = append(amounts, power)
		power *= 3
	}
	start := time.Now()
	s, err := shares.Settle(parties(amounts...))
	if err != nil || !s.FewestProved || len(s.Payments) != 19 {
		t.Errorf("%d payments, proved %v, %v", len(s.Payments), s.FewestProved, err)
	}
	if took := time.Since(start); took > 5*time.Second {
		t.Errorf("took %v", took)
	}
	t.Logf("20 parties took %v", time.Since(start))
}

// Six groups of three, {3p, −p, −2p} for powers p of five: two payments each.
func TestSettleFindsHiddenGroups(t *testing.T) {
	t.Parallel()
	balances := []shares.Balance{}
	power := int64(1)
	for i := range 6 {
		for j, times := range []int64{3, -1, -2} {
			balances = append(balances, shares.Balance{Member: fmt.Sprintf("mem_%d_%d", j, i), Amount: times * power})
		}
		power *= 5
	}
	s, err := shares.Settle(balances)
	if err != nil || !s.FewestProved || len(s.Payments) != 12 || s.AtMost != 17 {
		t.Errorf("%d payments, at most %d, proved %v, %v; want 12 of 17", len(s.Payments), s.AtMost, s.FewestProved, err)
	}
}
