package shares_test

import (
	"errors"
	"math"
	"math/big"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"wetside/chemistry/shares"
)

// Worked examples of the method of largest remainders, by name. Ties go to the
// larger weight, then to the lower index.
func TestApportionment(t *testing.T) {
	t.Parallel()
	votes := []int64{1500, 1500, 900, 500, 500, 200}
	census1790 := []int64{ // CT DE GA KY MD MA NH NJ NY NC PA RI SC VT VA: 3,615,920 together
		236841, 55540, 70835, 68705, 278514, 475327, 141822, 179570, 331589, 353523, 432879, 68446, 206236, 85533, 630560,
	}
	tests := []struct {
		name    string
		total   int64
		weights []int64
		want    []int64
	}{
		// The bill of 1792 for 120 seats by Hamilton's method, vetoed. Source: Balinski and Young,
		// Fair Representation, ch. 2; populations from memory, checked by their total and the seats.
		{"Hamilton's bill of 1792", 120, census1790, []int64{8, 2, 2, 2, 9, 16, 5, 6, 11, 12, 14, 2, 7, 3, 21}},
		// The usual three-state illustration of what the Census Office met in 1880 (Alabama 8 of 299
		// seats, 7 of 300): the third party loses a seat when there is one more to give.
		{"Alabama paradox, three states, 10 seats", 10, []int64{6, 6, 2}, []int64{4, 4, 2}},
		{"Alabama paradox, three states, 11 seats", 11, []int64{6, 6, 2}, []int64{5, 5, 1}},
		// The usual six-party illustration: D and E lose a seat each.
		{"Alabama paradox, six parties, 25 seats", 25, votes, []int64{7, 7, 4, 3, 3, 1}},
		{"Alabama paradox, six parties, 26 seats", 26, votes, []int64{8, 8, 5, 2, 2, 1}},
		// The usual example of the Hare quota.
		{"Hare quota, ten seats", 10, []int64{47000, 16000, 15900, 12000, 6000, 3100}, []int64{5, 2, 1, 1, 1, 0}},
		// Tannenbaum, Excursions in Modern Mathematics, the chapter on apportionment (figures from memory,
		// each checked by its total and the seats): the three paradoxes.
		{"Calavos, 200 seats", 200, []int64{940, 9030, 10030}, []int64{10, 90, 100}},
		{"Calavos, 201 seats: Bama loses one (Alabama paradox)", 201, []int64{940, 9030, 10030}, []int64{9, 91, 101}},
		{"Intergalactic congress, 50 seats", 50, []int64{150, 78, 173, 204, 295}, []int64{8, 4, 10, 11, 17}},
		{"ten years on: Ellisium grows and loses one to Betta, which does not (population paradox)",
			50, []int64{150, 78, 181, 204, 296}, []int64{8, 5, 10, 11, 16}},
		{"two high schools, 100 counsellors", 100, []int64{1045, 8955}, []int64{10, 90}},
		{"a third comes with its own five: one moves from South to North (new-states paradox)",
			105, []int64{1045, 8955, 525}, []int64{11, 89, 5}},
		// Lippman, Math in Society, the chapter on apportionment (figures from memory): Delaware's counties.
		{"Delaware, 41 seats", 41, []int64{162310, 538479, 197145}, []int64{7, 25, 9}},
		{"equal weights: the lower index first", 100, []int64{1, 1, 1}, []int64{34, 33, 33}},
		{"equal losses: the larger weight first", 2, []int64{1, 3}, []int64{0, 2}},
		{"nothing for a weight of zero", 5, []int64{0, 1, 0, 1}, []int64{0, 3, 0, 2}},
		{"nothing to split", 0, []int64{3, 5}, []int64{0, 0}},
		{"a credit mirrors a debit", -100, []int64{1, 1, 1}, []int64{-34, -33, -33}},
		{"one takes all", 7, []int64{9}, []int64{7}},
		{
			"beyond 64 bits inside", math.MaxInt64, []int64{math.MaxInt64, math.MaxInt64, math.MaxInt64},
			[]int64{3074457345618258603, 3074457345618258602, 3074457345618258602},
		},
		{"the least int64", math.MinInt64, []int64{1, 1}, []int64{math.MinInt64 / 2, math.MinInt64 / 2}},
	}
	t.Logf("%d worked examples; ties go to the larger weight, then the lower index", len(tests))
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got, err := shares.Apportion(tt.total, tt.weights)
			if err != nil || !slices.Equal(got, tt.want) {
				t.Errorf("Apportion(%d, %v) = %v, %v; want %v", tt.total, tt.weights, got, err, tt.want)
			}
		})
	}
}

func TestApportionmentRefuses(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name    string
		total   int64
		weights []int64
		want    error
	}{
		{"nobody", 1, nil, shares.ErrNoWeight},
		{"all weights zero", 1, []int64{0, 0}, shares.ErrNoWeight},
		{"all weights zero, nothing to split", 0, []int64{0}, shares.ErrNoWeight},
		{"a negative weight", 1, []int64{2, -1}, shares.ErrNegativeWeight},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			if got, err := shares.Apportion(tt.total, tt.weights); !errors.Is(err, tt.want) {
				t.Errorf("Apportion = %v, %v; want %v", got, err, tt.want)
			}
		})
	}
}

func partsAddUp(t *testing.T) {
	check(t, func(t *rapid.T) {
		total := rapid.OneOf(rapid.Int64Range(-1000, 1000), rapid.Int64()).Draw(t, "total")
		weight := rapid.OneOf(rapid.Int64Range(0, 5), rapid.Int64Range(0, math.MaxInt64))
		weights := rapid.SliceOfN(weight, 1, 12).Draw(t, "weights")
		weights = append(weights, rapid.Int64Range(1, 9).Draw(t, "positive"))
		parts, err := shares.Apportion(total, weights)
		if err != nil {
			t.Fatal(err)
		}
		sum, all := new(big.Int), new(big.Int)
		for i := range weights {
			sum.Add(sum, big.NewInt(parts[i]))
			all.Add(all, big.NewInt(weights[i]))
		}
		if sum.Cmp(big.NewInt(total)) != 0 {
			t.Fatalf("parts %v sum to %v, want %d", parts, sum, total)
		}
		for i := range weights { // |part × all − total × weight| < all
			diff := new(big.Int).Mul(big.NewInt(parts[i]), all)
			diff.Sub(diff, new(big.Int).Mul(big.NewInt(total), big.NewInt(weights[i])))
			if diff.CmpAbs(all) >= 0 {
				t.Fatalf("part %d of %v is one or more from its quota (weights %v)", i, parts, weights)
			}
		}
		again, _ := shares.Apportion(total, weights)
		if !slices.Equal(again, parts) {
			t.Fatalf("once %v, once %v", parts, again)
		}
		// Moved about, each weight's parts are the same: only equal weights, tied, go by index.
		order := rapid.Permutation(indices(len(weights))).Draw(t, "order")
		moved := make([]int64, len(weights))
		for to, from := range order {
			moved[to] = weights[from]
		}
		movedParts, _ := shares.Apportion(total, moved)
		if a, b := byWeight(weights, parts), byWeight(moved, movedParts); !slices.Equal(a, b) {
			t.Fatalf("the order of weights matters: %v, moved %v", a, b)
		}
	})
}

// Largest remainders leave the least sum of squared differences from the
// quotas, of all splits into whole parts: checked over every split.
func partsAreNearest(t *testing.T) {
	check(t, func(t *rapid.T) {
		total := rapid.Int64Range(0, 12).Draw(t, "total")
		w := rapid.SliceOfN(rapid.Int64Range(1, 20), 3, 3).Draw(t, "weights")
		all := w[0] + w[1] + w[2]
		distance := func(p ...int64) (d int64) {
			for i := range p {
				e := p[i]*all - total*w[i]
				d += e * e
			}
			return d
		}
		parts, err := shares.Apportion(total, w)
		if err != nil {
			t.Fatal(err)
		}
		for a := range total + 1 {
			for b := range total - a + 1 {
				if distance(a, b, total-a-b) < distance(parts...) {
					t.Fatalf("%v is nearer to the quotas than %v", []int64{a, b, total - a - b}, parts)
				}
			}
		}
	})
}

func indices(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

// byWeight is the pairs of weight and part in an order that does not depend on theirs.
func byWeight(weights, parts []int64) [][2]int64 {
	out := make([][2]int64, len(weights))
	for i := range out {
		out[i] = [2]int64{weights[i], parts[i]}
	}
	slices.SortFunc(out, func(a, b [2]int64) int { return slices.Compare(a[:], b[:]) })
	return out
}
