package shares

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
)

// Buy adds a kit and enters its purchase: the kit's account is debited its
// price, which is credited to the member who paid or to the fund. It refuses
// as chemistry.AddKit does.
func Buy(ctx context.Context, tx pgx.Tx, s lab.Scope, in chemistry.NewKit) (chemistry.Kit, error) {
	kit, err := chemistry.AddKit(ctx, tx, s, in)
	if err != nil {
		return chemistry.Kit{}, err
	}
	_, err = post(ctx, tx, s, Entry{
		Kind: Purchase, Text: "Bought: " + kit.Name, Kit: kit.ID,
		Postings: []Posting{onKit(kit.ID, kit.Price.Amount), onParty(buyer(kit), -kit.Price.Amount)},
	})
	if err != nil {
		return chemistry.Kit{}, err
	}
	return kit, nil
}

// buyer is the member who paid for a kit, or "" for the fund.
func buyer(k chemistry.Kit) string { return k.BoughtBy }

// termsOf is what a kit's price is shared by.
func termsOf(k chemistry.Kit) Terms {
	return Terms{
		Price: k.Price.Amount, RatedAreaMM2: k.Portions * k.RatedAreaMM2,
		Rule: Rule(k.ShareRule), UnusedFallsOn: FallsOn(k.UnusedFallsOn), Subscribers: k.Subscribers,
	}
}

// lockOpen locks a kit until the transaction ends. It refuses with NotFound or "kit-closed".
func lockOpen(ctx context.Context, tx pgx.Tx, labID, kitID string) (chemistry.Kit, error) {
	kit, err := chemistry.LockKit(ctx, tx, labID, kitID)
	if err != nil {
		return chemistry.Kit{}, fmt.Errorf("lock kit: %w", err)
	}
	if kit.ClosedAt != nil {
		return chemistry.Kit{}, lab.Refuse(lab.Conflict, "kit-closed", "the kit is closed and its price shared")
	}
	return kit, nil
}
