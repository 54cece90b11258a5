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

// A NewKit is a kit as the treasurer enters it: what it is, and who paid.
type NewKit struct {
	chemistry.NewKit
	Price   Price  `json:"price"`
	Receipt string `json:"receipt"`
	// Buyers paid the price together; without any, BoughtBy or the fund paid it all.
	Buyers []Buyer `json:"buyers"`
	// PurchaseFollows says that the price is an estimate by which runs are charged
	// until the purchase is entered.
	PurchaseFollows bool `json:"purchase_follows"`
	// Subscriptions are those made already; Subscribers are such of one share each.
	Subscriptions []NewSubscription `json:"subscriptions"`
	// Offer lets members subscribe ahead.
	Offer *SharesOffer `json:"offer"`
}

// A NewPurchase is what a kit that stands in the lab already has cost.
type NewPurchase struct {
	Price    Price   `json:"price"`
	BoughtOn string  `json:"bought_on"`
	Receipt  string  `json:"receipt"`
	Buyers   []Buyer `json:"buyers"`
}

// maxReceipt bounds a receipt's reference, in characters.
const maxReceipt = 200

// Buy adds a kit and enters its purchase: the kit's account is debited its
// price, which is credited to those who paid or to the fund. It refuses as
// chemistry.AddKit does, and with "amount-not-positive", "amount-too-large",
// "wrong-currency", "buyers-do-not-add-up", "member-left" and "month-closed".
func Buy(ctx context.Context, tx pgx.Tx, s lab.Scope, in NewKit) (chemistry.Kit, error) {
	if err := in.Price.check("/price", s.Lab.Currency); err != nil {
		return chemistry.Kit{}, err
	}
	if err := checkReceipt(in.Receipt); err != nil {
		return chemistry.Kit{}, err
	}
	if err := in.gather(s.Now); err != nil {
		return chemistry.Kit{}, err
	}
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return chemistry.Kit{}, err
	}
	kit, err := chemistry.AddKit(ctx, tx, s, in.NewKit)
	if err != nil {
		return chemistry.Kit{}, err
	}
	rules, err := ReadMoneyRules(ctx, tx, s.Lab.ID)
	if err != nil {
		return chemistry.Kit{}, err
	}
	var until *time.Time
	var offered *int64
	if in.Offer != nil {
		until, offered = &in.Offer.Until, in.Offer.Shares
	}
	_, err = tx.Exec(ctx, `
		INSERT INTO kit_terms (lab_id, kit_id, spoiled_falls_on, receipt, buyers, subscribe_until, subscription_shares)
		VALUES ($1, $2, $3, $4, '[]', $5, $6)`, s.Lab.ID, kit.ID, rules.SpoiledFallsOn, in.Receipt, until, offered)
	if err != nil {
		return chemistry.Kit{}, fmt.Errorf("add terms of kit: %w", err)
	}
	for i, sub := range in.Subscriptions {
		at := fmt.Sprintf("/subscriptions/%d/member", i)
		if err := refuseParty(ctx, tx, s.Lab.ID, at, sub.Member); err != nil {
			return chemistry.Kit{}, err
		}
		if err := addSubscription(ctx, tx, s, kit.ID, sub); err != nil {
			return chemistry.Kit{}, err
		}
	}
	if in.PurchaseFollows {
		return kit, nil
	}
	if err := enterPurchase(ctx, tx, s, kit, in.Buyers); err != nil {
		return chemistry.Kit{}, err
	}
	return kit, nil
}

// gather makes one list of each of what may be given in two ways.
func (in *NewKit) gather(now time.Time) error {
	in.NewKit.Price = units.Money{Amount: int64(in.Price.Amount), Currency: in.Price.Currency}
	no := lab.Refuse(lab.Invalid, "invalid", "a kit cannot be bought like this")
	switch {
	case len(in.Buyers) > 0 && (in.BoughtBy != "" || in.PurchaseFollows):
		_ = no.With("/buyers", "twice", "who paid is said once: by bought_by or by buyers, and not while the purchase follows")
	case len(in.Subscriptions) > 0 && len(in.Subscribers) > 0:
		_ = no.With("/subscriptions", "twice", "subscribers are named once: as subscribers or as subscriptions")
	case in.Offer != nil && !in.Offer.Until.After(now):
		_ = no.With("/offer/until", "in-the-past", "subscriptions close in the future")
	}
	for _, m := range in.Subscribers {
		in.Subscriptions = append(in.Subscriptions, NewSubscription{Member: m, Shares: 1})
	}
	in.Subscribers = []string{}
	var taken int64
	for _, sub := range in.Subscriptions {
		in.Subscribers = append(in.Subscribers, sub.Member)
		taken += sub.Shares
	}
	if in.Offer != nil && in.Offer.Shares != nil && taken > *in.Offer.Shares {
		_ = no.With("/offer/shares", "out-of-range", "%d shares are taken already", taken)
	}
	in.SubscribersFollow = in.Offer != nil
	if len(in.Buyers) == 0 {
		in.Buyers = []Buyer{{Member: in.BoughtBy, Amount: in.Price.Amount}}
	} else if len(in.Buyers) == 1 {
		in.BoughtBy = in.Buyers[0].Member
	}
	return no.OrNil()
}

// EnterPurchase enters what a kit has cost that was on the shelf, or in use,
// before; its price is that from then on. Runs that were charged by the
// estimate stay as they are until the kit is closed. It refuses with NotFound,
// "kit-closed", "kit-already-bought", and as Buy does.
func EnterPurchase(ctx context.Context, tx pgx.Tx, s lab.Scope, kitID string, in NewPurchase) (KitTerms, error) {
	if err := in.Price.check("/price", s.Lab.Currency); err != nil {
		return KitTerms{}, err
	}
	if err := checkReceipt(in.Receipt); err != nil {
		return KitTerms{}, err
	}
	if _, err := time.Parse(time.DateOnly, in.BoughtOn); err != nil {
		return KitTerms{}, lab.Refuse(lab.Invalid, "invalid", "the kit was bought on no such day").
			With("/bought_on", "date", "want a date such as 2026-01-31")
	}
	k, err := lockTerms(ctx, tx, s.Lab.ID, kitID)
	if err != nil {
		return KitTerms{}, err
	}
	if k.Bought {
		return KitTerms{}, lab.Refuse(lab.Conflict, "kit-already-bought", "the kit's purchase is in the books; reverse it to enter another")
	}
	if len(in.Buyers) == 0 {
		in.Buyers = []Buyer{{Amount: in.Price.Amount}}
	}
	_, err = tx.Exec(ctx, `
		UPDATE kits SET price_minor = $3, bought_on = $4::text::date, bought_by = nullif($5, ''), version = version + 1
		WHERE lab_id = $1 AND id = $2`, s.Lab.ID, kitID, int64(in.Price.Amount), in.BoughtOn, soleBuyer(in.Buyers))
	if err != nil {
		return KitTerms{}, fmt.Errorf("enter purchase: %w", err)
	}
	_, err = tx.Exec(ctx, `UPDATE kit_terms SET receipt = $3 WHERE lab_id = $1 AND kit_id = $2`, s.Lab.ID, kitID, in.Receipt)
	if err != nil {
		return KitTerms{}, fmt.Errorf("enter purchase: %w", err)
	}
	kit, err := chemistry.FindKit(ctx, tx, s.Lab.ID, kitID)
	if err != nil {
		return KitTerms{}, err
	}
	if err := enterPurchase(ctx, tx, s, kit, in.Buyers); err != nil {
		return KitTerms{}, err
	}
	return ReadKitTerms(ctx, tx, s.Lab.ID, kitID)
}

func soleBuyer(buyers []Buyer) string {
	if len(buyers) == 1 {
		return buyers[0].Member
	}
	return ""
}

func enterPurchase(ctx context.Context, tx pgx.Tx, s lab.Scope, kit chemistry.Kit, buyers []Buyer) error {
	if err := checkBuyers(buyers, kit.Price.Amount); err != nil {
		return err
	}
	for i, b := range buyers {
		if b.Member == "" {
			continue
		}
		if err := refuseParty(ctx, tx, s.Lab.ID, fmt.Sprintf("/buyers/%d/member", i), b.Member); err != nil {
			return err
		}
	}
	_, err := tx.Exec(ctx, `UPDATE kit_terms SET buyers = $3, version = version + 1 WHERE lab_id = $1 AND kit_id = $2`, s.Lab.ID, kit.ID, buyers)
	if err != nil {
		return fmt.Errorf("enter purchase: %w", err)
	}
	_, err = post(ctx, tx, s, purchaseEntry(kit, buyers))
	return err
}

// purchaseEntry debits the kit its price and credits each who paid.
func purchaseEntry(kit chemistry.Kit, buyers []Buyer) Entry {
	e := Entry{Kind: Purchase, Text: "Bought: " + kit.Name, Kit: kit.ID, Postings: []Posting{onKit(kit.ID, kit.Price.Amount)}}
	for _, b := range buyers {
		e.Postings = append(e.Postings, onParty(b.Member, -int64(b.Amount)))
	}
	return e
}

// checkBuyers refuses buyers who appear twice or whose parts are not the price.
func checkBuyers(buyers []Buyer, price int64) error {
	var paid int64
	seen := map[string]bool{}
	for i, b := range buyers {
		at := fmt.Sprintf("/buyers/%d", i)
		if err := b.Amount.check(at + "/amount"); err != nil {
			return err
		}
		if seen[b.Member] {
			return lab.Refuse(lab.Invalid, "invalid", "a kit cannot be bought like this").With(at, "twice", "each who paid is named once")
		}
		seen[b.Member] = true
		if paid += int64(b.Amount); paid > units.MaxMoney {
			break
		}
	}
	if paid != price {
		return lab.Refuse(lab.Invalid, "buyers-do-not-add-up", "those who paid have paid something else than the price").
			With("/buyers", "sum", "the parts add up to %d, the price is %d", paid, price)
	}
	return nil
}

func checkReceipt(text string) error {
	if len([]rune(text)) > maxReceipt {
		return lab.Refuse(lab.Invalid, "invalid", "a receipt's reference is short").
			With("/receipt", "length", "want at most %d characters", maxReceipt)
	}
	return nil
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
