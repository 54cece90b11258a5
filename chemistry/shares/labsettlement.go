package shares

import (
	"context"
	"fmt"
	"slices"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// A LabSettlement is who owes whom in a lab, and the payments that settle it.
type LabSettlement struct {
	Currency string `json:"currency"`
	// Balances are those that are not zero, as the statements have them, in the
	// order of the members' ids; the fund's is last and holds OpenKits.
	Balances []Balance `json:"balances"`
	// OpenKits is what kits have cost beyond what was charged for them, in minor units.
	OpenKits int64 `json:"open_kits"`
	Settlement
}

// SettleLab finds the payments that bring all members' balances and the fund's
// to zero, as the books are now. What open kits have cost beyond what was
// charged for them is nobody's share yet: until they are closed the fund holds
// it, so who paid for a kit is paid back at once. With that the balances add up
// to zero exactly.
func SettleLab(ctx context.Context, tx pgx.Tx, labID string) (LabSettlement, error) {
	l, err := lab.Find(ctx, tx, labID)
	if err != nil {
		return LabSettlement{}, err
	}
	rows, err := tx.Query(ctx, `
		SELECT account, coalesce(member_id, ''), sum(amount_minor)::bigint
		FROM postings
		WHERE lab_id = $1
		GROUP BY account, member_id`, labID)
	if err != nil {
		return LabSettlement{}, fmt.Errorf("read balances: %w", err)
	}
	out := LabSettlement{Currency: l.Currency, Balances: []Balance{}}
	var account Account
	var fund int64
	var b Balance
	_, err = pgx.ForEachRow(rows, []any{&account, &b.Member, &b.Amount}, func() error {
		switch {
		case account == OwnKit:
			out.OpenKits = b.Amount
		case account == FundAccount:
			fund = b.Amount
		case b.Amount != 0:
			out.Balances = append(out.Balances, b)
		}
		return nil
	})
	if err != nil {
		return LabSettlement{}, fmt.Errorf("read balances: %w", err)
	}
	if held := fund + out.OpenKits; held != 0 {
		out.Balances = append(out.Balances, Balance{Amount: held})
	}
	slices.SortFunc(out.Balances, func(a, b Balance) int { return compareParties(a.Member, b.Member) })
	out.Settlement, err = Settle(out.Balances)
	if err != nil {
		return LabSettlement{}, fmt.Errorf("settle lab: %w", err)
	}
	for i, p := range out.Payments {
		out.Payments[i].Reference = Reference(labID, p.From, p.To)
	}
	return out, nil
}
