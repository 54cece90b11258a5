package shares_test

import (
	"context"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/chemistry/shares"
	"wetside/lab"
)

// A hundred events at random in the life of a lab, payments and corrections
// among them: after each the books balance, no closed kit's account holds
// anything, and the settlement adds up.
func TestBooksStayBalanced(t *testing.T) {
	t.Parallel()
	b := openBooks(t)
	random := rand.New(rand.NewPCG(1, 2))
	pick := func(of ...string) string { return of[random.IntN(len(of))] }
	var open []string
	closed, runs, corrected := map[string]bool{}, 0, 0
	for range 100 {
		switch what := random.IntN(14); {
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
		case what == 8:
			b.pay(pick("mem_ann", "mem_tom", shares.TheFund), pick("mem_bea", "mem_cyn"), 1+random.Int64N(3000))
			corrected++
		case what == 9:
			// Some charge of an open kit is taken back, and half of those made anew.
			for _, e := range b.entries() {
				if e.Kind == shares.RunCharge && !closed[e.Kit] && !b.isReversed(e) {
					b.reverse(e.ID)
					if random.IntN(2) == 0 {
						b.do(func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
							_, err := shares.ChargeAnew(ctx, tx, s, e.Run)
							return err
						})
					}
					corrected++
					break
				}
			}
		case what == 10 && len(closed) > 2:
			for _, e := range b.entries() {
				if e.Kind == shares.FinalCost && closed[e.Kit] && !b.isReversed(e) {
					b.reverse(e.ID)
					delete(closed, e.Kit)
					open = append(open, e.Kit)
					corrected++
					break
				}
			}
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
	t.Logf("%d kits closed, %d runs made, %d payments and corrections", len(closed), runs, corrected)
	if len(closed) < 5 || runs < 20 || corrected < 10 {
		t.Fatalf("only %d kits closed, %d runs made and %d corrected: the test tries too little", len(closed), runs, corrected)
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

func (b *books) isReversed(e shares.Entry) bool {
	b.t.Helper()
	return slices.ContainsFunc(b.entries(), func(x shares.Entry) bool { return x.Reverses == e.ID })
}
