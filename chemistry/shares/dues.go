package shares

import (
	"context"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// Dues are what one member has to pay, or will be paid, by the lab's settlement.
type Dues struct {
	Member   string `json:"member"`
	Currency string `json:"currency"`
	// Balance is in minor units; positive is owed to the co-op.
	Balance  int64     `json:"balance"`
	Payments []Payment `json:"payments"`
}

// ReadDues reads a member's part of the settlement as the books are now. It
// refuses as ReadStatement does.
func ReadDues(ctx context.Context, tx pgx.Tx, s lab.Scope, member string) (Dues, error) {
	if err := mayReadAccount(ctx, tx, s, member); err != nil {
		return Dues{}, err
	}
	if _, err := lab.FindMember(ctx, tx, s.Lab.ID, member); err != nil {
		return Dues{}, err
	}
	all, err := SettleLab(ctx, tx, s.Lab.ID)
	if err != nil {
		return Dues{}, err
	}
	d := Dues{Member: member, Currency: all.Currency, Payments: []Payment{}}
	for _, b := range all.Balances {
		if b.Member == member {
			d.Balance = b.Amount
		}
	}
	for _, p := range all.Payments {
		if p.From == member || p.To == member {
			d.Payments = append(d.Payments, p)
		}
	}
	return d, nil
}
