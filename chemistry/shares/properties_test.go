package shares_test

import (
	"fmt"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"wetside/chemistry"
	"wetside/chemistry/shares"
	"wetside/lab/units"
)

// Each property is tried on 10,000 cases.
func TestProperties(t *testing.T) {
	t.Parallel()
	for _, p := range []struct {
		name string
		try  func(*testing.T)
	}{
		{"parts add up to the whole, by any order of weights", partsAddUp},
		{"parts are the nearest to their quotas of all splits", partsAreNearest},
		{"shares add up to the price, by any order of runs", sharesAddUp},
		{"shares by area are less than one unit off", sharesByAreaAreFair},
		{"after any operations the balances add up to zero and closed kits' accounts are zero", booksBalance},
		{"closing again changes nothing", closingAgainChangesNothing},
		{"settlement brings all to zero in at most n-1 payments", paymentsSettle},
		{"settlement is the fewest payments of all, to 8 parties", paymentsAreFewest},
		{"settlement of many keeps the bound and claims no more than it proves", manySettleWithinTheBound},
		{"an estimate's ends are closings that happen", estimatesComeTrue},
	} {
		t.Run(p.name, func(t *testing.T) {
			t.Parallel()
			p.try(t)
		})
	}
}

// A ledger is the books without a database: entries as the package makes them.
type ledger struct {
	t       *rapid.T
	entries []shares.Entry
	kits    []chemistry.Kit
	terms   map[string]shares.Terms
	uses    map[string][]shares.Use
	closed  map[string]int // the closing's place in entries
}

func (l *ledger) post(e shares.Entry, err error) {
	if err != nil {
		l.t.Fatal(err)
	}
	e.ID = fmt.Sprintf("entry_%d", len(l.entries))
	var sum int64
	for _, p := range e.Postings {
		sum += p.Amount
	}
	if sum != 0 || len(e.Postings) < 2 {
		l.t.Fatalf("entry does not balance: %+v", e)
	}
	l.entries = append(l.entries, e)
}

var someone = rapid.SampledFrom([]string{"mem_1", "mem_2", "mem_3", "mem_4", "mem_5"})

func (l *ledger) buy() {
	price := rapid.Int64Range(1, 20_000).Draw(l.t, "price")
	kit := chemistry.Kit{
		ID: fmt.Sprintf("kit_%d", len(l.kits)), Name: "kit", Portions: rapid.Int64Range(1, 3).Draw(l.t, "portions"),
		RatedAreaMM2: rapid.Int64Range(1, 12).Draw(l.t, "rolls") * roll, Price: units.Money{Amount: price, Currency: "EUR"},
	}
	first := rapid.Int64Range(0, price).Draw(l.t, "first buyer's part")
	buyers := []shares.Buyer{{Amount: shares.Amount(price - first)}, {Member: someone.Draw(l.t, "buyer"), Amount: shares.Amount(first)}}
	l.kits = append(l.kits, kit)
	l.terms[kit.ID] = shares.Terms{
		Price: price, RatedAreaMM2: kit.Portions * kit.RatedAreaMM2,
		Rule:           rapid.SampledFrom([]shares.Rule{shares.ByArea, shares.ByRoll, shares.Equally, shares.Weighted}).Draw(l.t, "rule"),
		UnusedFallsOn:  rapid.SampledFrom([]shares.FallsOn{shares.Users, shares.Subscribers, shares.Fund}).Draw(l.t, "unused"),
		SpoiledFallsOn: rapid.SampledFrom([]shares.SpoiledFallsOn{shares.AsUnused, shares.OnSharers, shares.SpoiledFund}).Draw(l.t, "spoiled"),
		Subscribers:    rapid.SliceOfN(someone, 0, 3).Draw(l.t, "subscribers"),
	}
	l.post(shares.PurchaseEntry(kit, buyers), nil)
}

// open is a kit that is not closed, if there is one.
func (l *ledger) open() (chemistry.Kit, bool) {
	var open []chemistry.Kit
	for _, k := range l.kits {
		if _, is := l.closed[k.ID]; !is {
			open = append(open, k)
		}
	}
	if len(open) == 0 {
		return chemistry.Kit{}, false
	}
	return rapid.SampledFrom(open).Draw(l.t, "kit"), true
}

func (l *ledger) run(kit chemistry.Kit) {
	r := shares.Run{ID: fmt.Sprintf("run_%d", len(l.entries)), Kit: kit.ID}
	spoiled := rapid.IntRange(0, 4).Draw(l.t, "spoiled") == 0
	for range rapid.IntRange(1, 3).Draw(l.t, "rolls") {
		u := shares.RollUse{Roll: "roll", Member: someone.Draw(l.t, "owner"), AreaMM2: rapid.Int64Range(1, 2*roll).Draw(l.t, "area"),
			Free: rapid.IntRange(0, 5).Draw(l.t, "free") == 0}
		r.Rolls = append(r.Rolls, u)
		l.uses[kit.ID] = append(l.uses[kit.ID], shares.Use{Member: u.Member, AreaMM2: u.AreaMM2, Free: u.Free, Spoiled: spoiled})
	}
	if !spoiled {
		l.post(shares.ChargeEntry(kit, r))
	}
}

// charged is what each was charged for a kit, and closed ones' parts.
func (l *ledger) charged(kit string) map[string]int64 {
	out := map[string]int64{}
	for _, e := range l.entries {
		kind := e.Kind
		if kind == shares.Reversal {
			kind = l.find(e.Reverses).Kind
		}
		if e.Kit != kit || kind == shares.Purchase {
			continue
		}
		for _, p := range e.Postings {
			if p.Account != shares.OwnKit {
				out[p.Member] += p.Amount
			}
		}
	}
	return out
}

func (l *ledger) find(id string) shares.Entry {
	return l.entries[slices.IndexFunc(l.entries, func(e shares.Entry) bool { return e.ID == id })]
}

func (l *ledger) close(kit chemistry.Kit) {
	c, err := shares.Close(l.terms[kit.ID], l.uses[kit.ID])
	if err != nil {
		l.t.Fatal(err)
	}
	l.closed[kit.ID] = len(l.entries)
	l.post(shares.ClosingEntry(kit, c.Against(l.charged(kit.ID))), nil)
}

func (l *ledger) reopen(kit string) {
	at := l.closed[kit]
	l.post(shares.ReversalOf(l.entries[at], "wrong"), nil)
	l.entries[len(l.entries)-1].Reverses = l.entries[at].ID
	delete(l.closed, kit)
}

// balances are those of all accounts.
func (l *ledger) balances() map[string]int64 {
	out := map[string]int64{}
	for _, e := range l.entries {
		for _, p := range e.Postings {
			out[string(p.Account)+p.Member+p.Kit] += p.Amount
		}
	}
	return out
}

func newLedger(t *rapid.T) *ledger {
	return &ledger{t: t, terms: map[string]shares.Terms{}, uses: map[string][]shares.Use{}, closed: map[string]int{}}
}

// step is any one thing that may happen to the books.
func (l *ledger) step() {
	kit, any := l.open()
	switch what := rapid.IntRange(0, 11).Draw(l.t, "what"); {
	case what == 0 || !any:
		l.buy()
	case what < 7:
		l.run(kit)
	case what == 7:
		from := someone.Draw(l.t, "payer")
		l.post(shares.PaymentEntry(shares.PaymentRecord{From: from, Amount: rapid.Int64Range(1, 9000).Draw(l.t, "paid")}), nil)
	case what == 8 && len(l.closed) > 0:
		ids := []string{}
		for id := range l.closed {
			ids = append(ids, id)
		}
		slices.Sort(ids)
		l.reopen(rapid.SampledFrom(ids).Draw(l.t, "reopened"))
	default:
		l.close(kit)
	}
}

func booksBalance(t *testing.T) {
	operations := 0
	check(t, func(t *rapid.T) {
		l := newLedger(t)
		for range rapid.IntRange(1, 12).Draw(t, "steps") {
			l.step()
			operations++
		}
		var sum int64
		parties := []shares.Balance{}
		for account, amount := range l.balances() {
			sum += amount
			parties = append(parties, shares.Balance{Member: account, Amount: amount})
		}
		if sum != 0 {
			t.Fatalf("the balances add up to %d", sum)
		}
		for kit := range l.closed {
			if left := l.balances()["kit"+kit]; left != 0 {
				t.Fatalf("the closed kit %s is left with %d", kit, left)
			}
		}
		if s, err := shares.Settle(parties); err != nil || len(s.Payments) > s.AtMost {
			t.Fatalf("settlement %+v, %v", s, err)
		}
	})
	t.Logf("%d operations", operations)
}

func closingAgainChangesNothing(t *testing.T) {
	check(t, func(t *rapid.T) {
		l := newLedger(t)
		l.buy()
		kit := l.kits[0]
		for range rapid.IntRange(0, 5).Draw(t, "runs") {
			l.run(kit)
		}
		l.close(kit)
		first, before := l.balances(), l.charged(kit.ID)
		l.reopen(kit.ID)
		l.close(kit)
		if diff := cmp.Diff(first, l.balances()); diff != "" {
			t.Fatalf("once -, twice +:\n%s", diff)
		}
		c, err := shares.Close(l.terms[kit.ID], l.uses[kit.ID])
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range c.Against(before).Shares { // on top of a closing that stands
			if s.Adjustment != 0 {
				t.Fatalf("closing again would move %+v", s)
			}
		}
	})
}

// Whatever the rest of the kit's life, the two ends of an estimate are the
// closings of those two lives, and the range holds both.
func estimatesComeTrue(t *testing.T) {
	check(t, func(t *rapid.T) {
		l := newLedger(t)
		l.buy()
		kit := l.kits[0]
		for range rapid.IntRange(0, 3).Draw(t, "runs") {
			l.run(kit)
		}
		areas := rapid.SliceOfN(rapid.Int64Range(1000, 3*roll), 1, 4).Draw(t, "areas")
		terms, uses := l.terms[kit.ID], l.uses[kit.ID]
		e, err := shares.Foresee(terms, uses, "mem_1", areas)
		if err != nil {
			t.Fatal(err)
		}
		for _, a := range areas {
			uses = append(uses, shares.Use{Member: "mem_1", AreaMM2: a})
		}
		c, err := shares.Close(terms, uses)
		if err != nil {
			t.Fatal(err)
		}
		var share int64
		for _, s := range c.Shares {
			if s.Member == "mem_1" {
				share = s.Total
			}
		}
		if e.NothingMore.Share != share || e.Least > e.Most || e.NothingMore.TheseRolls > share {
			t.Fatalf("estimate %+v; closed now the share is %d", e, share)
		}
	})
}
