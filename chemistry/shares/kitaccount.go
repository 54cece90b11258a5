package shares

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
)

// A KitAccount is what a kit has cost, less what was charged for it.
type KitAccount struct {
	Kit      string `json:"kit"`
	Currency string `json:"currency"`
	Lines    []Line `json:"lines"`
	// Balance is what nobody has been charged for yet, in minor units: zero once the
	// kit is closed, below zero when more was charged than it cost.
	Balance int64 `json:"balance"`
}

// ReadKitAccount reads a kit's account. It refuses with NotFound.
func ReadKitAccount(ctx context.Context, tx pgx.Tx, labID, kitID string) (KitAccount, error) {
	kit, err := chemistry.FindKit(ctx, tx, labID, kitID)
	if err != nil {
		return KitAccount{}, err
	}
	lines, err := readLines(ctx, tx, `p.account = 'kit' AND p.kit_id = $2`, labID, kitID)
	if err != nil {
		return KitAccount{}, fmt.Errorf("read kit account: %w", err)
	}
	a := KitAccount{Kit: kitID, Currency: kit.Price.Currency, Lines: lines}
	for _, l := range lines {
		a.Balance = l.Balance
	}
	return a, nil
}
