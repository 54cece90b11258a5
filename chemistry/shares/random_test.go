package shares_test

import (
	"context"
	"math/rand/v2"
	"testing"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/chemistry/shares"
	"wetside/lab"
)

// Sixty events at random in the life of a lab: after each the books balance,
// no closed kit's account holds anything, and the settlement adds up.
func TestBooksStayBalanced(t *testing.T) {
	t.Parallel()
	b := openBooks(t)
	random := rand.New(rand.NewPCG(1, 2))
	pick := func(of ...string) string { return of[random.IntN(len(of))] }
	var open []string
	closed, runs := map[string]bool{}, 0
	for range 60 {
		switch what := random.IntN(10); {
		case what < 2 || len(open) == 0:
			in := b.newKit()
			in.Price.Amount = 1 + random.Int64N(9999)
			in.BoughtBy = pick("", "mem_ann", "mem_bea")
			in.ShareRule = chemistry.ShareRule(pick("by_area", "by_roll", "equally"))
			in.UnusedFallsOn = chemistry.UnusedFallsOn(pick("users", "subscribers", "fund"))
			in.Subscribers = []string{"mem_bea", "mem_cyn", "mem_tom"}[:1+random.IntN(3)]
			open = append(open, b.buy(in))
		case what < 8:
			films := make([]film, 1+random.IntN(4))
			for i := range films {
				films[i] = film{pick("mem_ann", "mem_bea", "mem_cyn"), 1 + random.Int64N(3)}
			}
			b.run(open[random.IntN(len(open))], pick("done", "done", "done", "spoiled"), films...)
			runs++
		default:
			i := random.IntN(len(open))
			b.close(open[i], chemistry.UsedUp)
			closed[open[i]] = true
			open = append(open[:i], open[i+1:]...)
		}
		var sum int64
		for account, amount := range b.balances() {
			sum += amount
			if closed[account] {
				t.Fatalf("the closed kit %s is left with %d", account, amount)
			}
		}
		if sum != 0 {
			t.Fatalf("the balances add up to %d", sum)
		}
		if s := b.settle(); !s.FewestProved || len(s.Payments) > s.AtMost {
			t.Fatalf("settlement %+v", s)
		}
	}
	if len(closed) < 5 || runs < 20 {
		t.Fatalf("only %d kits closed and %d runs made: the test tries too little", len(closed), runs)
	}
	b.do(func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		for kit := range closed {
			a, err := shares.ReadKitAccount(ctx, tx, s.Lab.ID, kit, shares.Span{})
			if err != nil || a.Balance != 0 || a.Lines[len(a.Lines)-1].Kind != shares.FinalCost {
				t.Errorf("closed kit: %+v, %v", a, err)
			}
		}
		return nil
	})
}
