package demo

import (
	"context"

	"wetside/chemistry"
	"wetside/chemistry/shares"
)

// Accounts are the money of a board that is read beside its entries.
type Accounts struct {
	Fund shares.FundStatement
	// Why is what the closed kit has one of its users owe, Fairness what other
	// rules would have given.
	Why      shares.Explanation
	Fairness shares.Fairness
}

// accounts reads the fund's account, and of the first closed kit why its first
// sharer owes what they do.
func (r reader) accounts(ctx context.Context, b *Board) error {
	if _, err := r.get(ctx, r.lab+"fund", &b.Fund); err != nil {
		return err
	}
	for _, k := range b.Kits {
		if k.ClosedAt == nil {
			continue
		}
		if _, err := r.get(ctx, r.lab+"kits/"+k.ID+"/fairness", &b.Fairness); err != nil {
			return err
		}
		_, err := r.get(ctx, r.lab+"members/"+b.firstSharer(k)+"/explanation?kit="+k.ID, &b.Why)
		return err
	}
	return nil
}

// firstSharer is the first member whom a kit's closing charges, but not its buyer,
// who has the price on the same account.
func (b *Board) firstSharer(k chemistry.Kit) string {
	for _, e := range b.Entries {
		if e.Kit != k.ID || e.Kind != shares.FinalCost {
			continue
		}
		for _, p := range e.Postings {
			if p.Member != "" && p.Member != k.BoughtBy {
				return p.Member
			}
		}
	}
	return k.BoughtBy
}
