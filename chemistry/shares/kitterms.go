package shares

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
	"wetside/lab/units"
)

// KitTerms are how a kit was paid for and by what its price is shared.
type KitTerms struct {
	Kit   string      `json:"kit"`
	Price units.Money `json:"price"`
	// Bought says that the purchase is in the books; until then the price is an estimate.
	Bought         bool           `json:"bought"`
	BoughtOn       string         `json:"bought_on"`
	Buyers         []Buyer        `json:"buyers"`
	Receipt        string         `json:"receipt"`
	ShareRule      Rule           `json:"share_rule"`
	UnusedFallsOn  FallsOn        `json:"unused_falls_on"`
	SpoiledFallsOn SpoiledFallsOn `json:"spoiled_falls_on"`
	Subscriptions  []Subscription `json:"subscriptions"`
	Offer          *SharesOffer   `json:"offer,omitempty"`
	// Fixed says that the kit has been used: its rule changes by consent alone.
	Fixed bool `json:"fixed"`
	// Change is what waits for consent.
	Change  *TermsChange `json:"change,omitempty"`
	Version int64        `json:"-"`
	// kit is as read with them.
	kit chemistry.Kit
}

// Revision counts the changes of the terms.
func (k KitTerms) Revision() int64 { return k.Version }

// A Buyer is who paid how much of a kit's price, in minor units.
type Buyer struct {
	// Member is empty for the fund.
	Member string `json:"member,omitempty"`
	Amount Amount `json:"amount"`
}

// A SharesOffer is how members may subscribe to a kit ahead.
type SharesOffer struct {
	// Until is the first instant at which nobody subscribes any more.
	Until time.Time `json:"until"`
	// Shares caps the shares of all subscribers together; absent is no cap.
	Shares *int64 `json:"shares,omitempty"`
}

// ReadKitTerms reads a kit's terms. It refuses with NotFound.
func ReadKitTerms(ctx context.Context, tx pgx.Tx, labID, kitID string) (KitTerms, error) {
	kit, err := chemistry.FindKit(ctx, tx, labID, kitID)
	if err != nil {
		return KitTerms{}, err
	}
	return kitTerms(ctx, tx, labID, kit)
}

func kitTerms(ctx context.Context, tx pgx.Tx, labID string, kit chemistry.Kit) (KitTerms, error) {
	k := KitTerms{
		Kit: kit.ID, Price: kit.Price, BoughtOn: kit.BoughtOn, ShareRule: Rule(kit.ShareRule),
		UnusedFallsOn: FallsOn(kit.UnusedFallsOn), kit: kit,
	}
	var until *time.Time
	var offered *int64
	err := tx.QueryRow(ctx, `
		SELECT spoiled_falls_on, receipt, buyers, subscribe_until, subscription_shares, version,
			EXISTS (SELECT FROM entries e WHERE e.lab_id = $1 AND e.kit_id = $2 AND e.kind = 'run_charge')
			OR EXISTS (SELECT FROM batches b JOIN runs r ON r.lab_id = b.lab_id AND r.batch_id = b.id
				WHERE b.lab_id = $1 AND b.kit_id = $2)
		FROM kit_terms WHERE lab_id = $1 AND kit_id = $2`,
		labID, kit.ID).Scan(&k.SpoiledFallsOn, &k.Receipt, &k.Buyers, &until, &offered, &k.Version, &k.Fixed)
	if err != nil {
		return KitTerms{}, fmt.Errorf("read terms of kit: %w", err)
	}
	k.Bought = len(k.Buyers) > 0
	k.Fixed = k.Fixed || kit.OpenedAt != nil || kit.ClosedAt != nil
	if until != nil {
		k.Offer = &SharesOffer{Until: until.UTC(), Shares: offered}
	}
	if k.Subscriptions, err = readSubscriptions(ctx, tx, labID, kit.ID); err != nil {
		return KitTerms{}, err
	}
	k.Change, err = openChange(ctx, tx, labID, kit.ID)
	return k, err
}

// terms are what Close shares the kit's price by.
func (k KitTerms) terms() Terms {
	t := Terms{
		Price: k.Price.Amount, RatedAreaMM2: k.kit.Portions * k.kit.RatedAreaMM2, Rule: k.ShareRule,
		UnusedFallsOn: k.UnusedFallsOn, SpoiledFallsOn: k.SpoiledFallsOn, Weights: map[string]int64{},
	}
	for _, s := range k.Subscriptions {
		t.Subscribers = append(t.Subscribers, s.Member)
		t.Weights[s.Member] = s.Shares
	}
	return t
}

func readTerms(ctx context.Context, tx pgx.Tx, labID string, kit chemistry.Kit) (Terms, error) {
	k, err := kitTerms(ctx, tx, labID, kit)
	return k.terms(), err
}

// lockTerms locks the lab and then a kit that is open, and reads its terms. It
// refuses with NotFound or "kit-closed".
func lockTerms(ctx context.Context, tx pgx.Tx, labID, kitID string) (KitTerms, error) {
	if _, err := lab.Lock(ctx, tx, labID); err != nil {
		return KitTerms{}, err
	}
	kit, err := lockOpen(ctx, tx, labID, kitID)
	if err != nil {
		return KitTerms{}, err
	}
	return kitTerms(ctx, tx, labID, kit)
}

// touchTerms counts a change of a kit's terms.
func touchTerms(ctx context.Context, tx pgx.Tx, labID, kitID string) error {
	_, err := tx.Exec(ctx, `UPDATE kit_terms SET version = version + 1 WHERE lab_id = $1 AND kit_id = $2`, labID, kitID)
	if err != nil {
		return fmt.Errorf("change terms of kit: %w", err)
	}
	return nil
}

// refuseParty refuses a member who is not there, has left, or is a guest: only
// members buy kits and subscribe, and nothing new is shared with who has left.
func refuseParty(ctx context.Context, tx pgx.Tx, labID, pointer, member string) error {
	m, err := lab.FindMember(ctx, tx, labID, member)
	switch {
	case lab.RefusalCode(err) == "not-found":
		return lab.Refuse(lab.Invalid, "invalid", "there is no such member").With(pointer, "no-such-member", "the lab has no such member")
	case err != nil:
		return err
	case m.LeftAt != nil:
		return lab.Refuse(lab.Conflict, "member-left", "this member has left the lab").With(pointer, "member-left", "nothing new is shared with who has left")
	case m.GuestOf != nil:
		return lab.Refuse(lab.Invalid, "invalid", "a guest cannot do this").With(pointer, "guest", "only members buy kits and subscribe")
	}
	return nil
}
