package shares_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"wetside/chemistry"
	"wetside/chemistry/shares"
)

// A kit's whole life: bought by Ann for 60 €, two finished runs of 6 of its 12
// roll-equivalents, a spoiled one of 2, 4 never used.
func TestKitLife(t *testing.T) {
	t.Parallel()
	all := []string{"mem_ann", "mem_bea", "mem_cyn"}
	two := []string{"mem_cyn", "mem_ann"}
	tests := []struct {
		name        string
		rule        chemistry.ShareRule
		falls       chemistry.UnusedFallsOn
		subscribers []string
		fundBuys    bool
		want        map[string]int64
		payments    []shares.Payment
	}{
		{name: "by area, unused on the users", rule: chemistry.ByArea, falls: chemistry.OnUsers,
			want:     map[string]int64{"mem_ann": 4000 - 6000, "mem_bea": 2000},
			payments: []shares.Payment{{From: "mem_bea", To: "mem_ann", Amount: 2000}}},
		{name: "by area, unused on the subscribers", rule: chemistry.ByArea, falls: chemistry.OnSubscribers, subscribers: two,
			want: map[string]int64{"mem_ann": 2000 + 1500 - 6000, "mem_bea": 1000, "mem_cyn": 1500},
			payments: []shares.Payment{
				{From: "mem_bea", To: "mem_ann", Amount: 1000}, {From: "mem_cyn", To: "mem_ann", Amount: 1500},
			}},
		{name: "by area, unused on the fund", rule: chemistry.ByArea, falls: chemistry.OnFund,
			want: map[string]int64{"mem_ann": 2000 - 6000, "mem_bea": 1000, "fund": 3000},
			payments: []shares.Payment{
				{From: "mem_bea", To: "mem_ann", Amount: 1000}, {To: "mem_ann", Amount: 3000},
			}},
		{name: "by roll, unused on the users", rule: chemistry.ByRoll, falls: chemistry.OnUsers,
			want:     map[string]int64{"mem_ann": 4500 - 6000, "mem_bea": 1500},
			payments: []shares.Payment{{From: "mem_bea", To: "mem_ann", Amount: 1500}}},
		{name: "by roll, unused on the subscribers", rule: chemistry.ByRoll, falls: chemistry.OnSubscribers, subscribers: all,
			want: map[string]int64{"mem_ann": 2250 + 1000 - 6000, "mem_bea": 750 + 1000, "mem_cyn": 1000},
			payments: []shares.Payment{
				{From: "mem_bea", To: "mem_ann", Amount: 1750}, {From: "mem_cyn", To: "mem_ann", Amount: 1000},
			}},
		{name: "by roll, bought by and unused on the fund", rule: chemistry.ByRoll, falls: chemistry.OnFund, fundBuys: true,
			want: map[string]int64{"mem_ann": 2250, "mem_bea": 750, "fund": 3000 - 6000},
			payments: []shares.Payment{
				{From: "mem_ann", Amount: 2250}, {From: "mem_bea", Amount: 750},
			}},
		{name: "equally, unused on the users", rule: chemistry.Equally, falls: chemistry.OnUsers, subscribers: two,
			want: map[string]int64{"mem_ann": 1500 + 1500 - 6000, "mem_bea": 1500, "mem_cyn": 1500},
			payments: []shares.Payment{
				{From: "mem_bea", To: "mem_ann", Amount: 1500}, {From: "mem_cyn", To: "mem_ann", Amount: 1500},
			}},
		{name: "equally, unused on the subscribers", rule: chemistry.Equally, falls: chemistry.OnSubscribers, subscribers: two,
			want:     map[string]int64{"mem_ann": 3000 - 6000, "mem_cyn": 3000},
			payments: []shares.Payment{{From: "mem_cyn", To: "mem_ann", Amount: 3000}}},
		{name: "equally, unused on the fund", rule: chemistry.Equally, falls: chemistry.OnFund, subscribers: two,
			want: map[string]int64{"mem_ann": 1500 - 6000, "mem_cyn": 1500, "fund": 3000},
			payments: []shares.Payment{
				{From: "mem_cyn", To: "mem_ann", Amount: 1500}, {To: "mem_ann", Amount: 3000},
			}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			b := openBooks(t)
			in := b.newKit()
			in.ShareRule, in.UnusedFallsOn = tt.rule, tt.falls
			if tt.subscribers != nil {
				in.Subscribers = tt.subscribers
			}
			payer := "mem_ann"
			if tt.fundBuys {
				in.BoughtBy, payer = "", "fund"
			}
			kit := b.buy(in)
			if diff := cmp.Diff(map[string]int64{kit: 6000, payer: -6000}, b.balances()); diff != "" {
				t.Fatalf("bought, want -, got +:\n%s", diff)
			}
			b.run(kit, "done", film{"mem_ann", 1}, film{"mem_bea", 2}, film{"mem_ann", 2})
			b.run(kit, "spoiled", film{"mem_bea", 1}, film{"mem_cyn", 1})
			b.run(kit, "done", film{"mem_ann", 1})
			charged := map[string]int64{kit: 3000, payer: -6000}
			charged["mem_ann"] += 2000
			charged["mem_bea"] += 1000
			if diff := cmp.Diff(charged, b.balances()); diff != "" {
				t.Fatalf("charged, want -, got +:\n%s", diff)
			}
			a := b.close(kit, "expired")
			if diff := cmp.Diff(tt.want, b.balances()); diff != "" {
				t.Errorf("closed, want -, got +:\n%s", diff)
			}
			if a.UsedAreaMM2 != 6*roll || a.SpoiledAreaMM2 != 2*roll || a.UnusedMinor != 3000 || a.SpoiledMinor != 1000 {
				t.Errorf("closing says %+v", a.Closing)
			}
			if got := b.settle(); !got.FewestProved || got.OpenKits != 0 || !cmp.Equal(got.Payments, tt.payments) {
				t.Errorf("settlement %+v, want payments %v", got, tt.payments)
			}
		})
	}
}

// While a kit is open the fund holds what nobody was charged for, and the settlement still adds up.
func TestSettleLabWithOpenKit(t *testing.T) {
	t.Parallel()
	b := openBooks(t)
	kit := b.buy(b.newKit())
	b.run(kit, "done", film{"mem_ann", 1}, film{"mem_bea", 2}, film{"mem_cyn", 1})
	want := shares.LabSettlement{
		Currency: "EUR", OpenKits: 4000,
		Balances: []shares.Balance{
			{Member: "mem_ann", Amount: -5500}, {Member: "mem_bea", Amount: 1000}, {Member: "mem_cyn", Amount: 500}, {Amount: 4000},
		},
		Settlement: shares.Settlement{
			Payments: []shares.Payment{
				{From: "mem_bea", To: "mem_ann", Amount: 1000}, {From: "mem_cyn", To: "mem_ann", Amount: 500},
				{To: "mem_ann", Amount: 4000},
			},
			FewestProved: true, AtMost: 3,
		},
	}
	if diff := cmp.Diff(want, b.settle()); diff != "" {
		t.Errorf("want -, got +:\n%s", diff)
	}
}

// More was used than rated, and the parts do not divide: to the cent all the same.
func TestKitLifeOverused(t *testing.T) {
	t.Parallel()
	b := openBooks(t)
	in := b.newKit()
	in.Price.Amount, in.BoughtBy = 9999, ""
	kit := b.buy(in)
	b.run(kit, "done", film{"mem_ann", 7}, film{"mem_bea", 5}, film{"mem_cyn", 4})
	a := b.close(kit, "used_up")
	if a.UnusedMinor != 0 {
		t.Errorf("%d is unused of what was used up", a.UnusedMinor)
	}
	// Quotas 4374.56, 3124.69 and 2499.75: one cent to Cyn, one to Bea.
	want := map[string]int64{"mem_ann": 4374, "mem_bea": 3125, "mem_cyn": 2500, "fund": -9999}
	if diff := cmp.Diff(want, b.balances()); diff != "" {
		t.Errorf("want -, got +:\n%s", diff)
	}
}
