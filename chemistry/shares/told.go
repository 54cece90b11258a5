package shares

import (
	"context"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/telling"
	"wetside/lab/units"
)

// tellPayment tells a party of a payment; for the fund the treasurers.
func tellPayment(ctx context.Context, tx pgx.Tx, s lab.Scope, kind telling.Kind, party string, p PaymentRecord, answer string) error {
	n := telling.Notice{Kind: kind, About: p.ID, Words: map[string]string{
		"amount": units.Money{Amount: p.Amount, Currency: s.Lab.Currency}.String(), "answer": answer,
	}}
	if party == "" || party == TheFund {
		n.Role = lab.RoleTreasurer
	} else {
		n.To = []string{party}
	}
	return telling.Tell(ctx, tx, s, n)
}

// tellClosing tells those who share a kit's price that it is shared.
func tellClosing(ctx context.Context, tx pgx.Tx, s lab.Scope, kit, name string, c Closing) error {
	n := telling.Notice{Kind: telling.KitClosed, About: kit, Words: map[string]string{"kit": name}}
	for _, share := range c.Shares {
		if share.Member != "" {
			n.To = append(n.To, share.Member)
		}
	}
	return telling.Tell(ctx, tx, s, n)
}
