package shares

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
)

// A Subscription is a member's shares of a kit.
type Subscription struct {
	Member string `json:"member"`
	Shares int64  `json:"shares"`
}

// A NewSubscription is what a member takes; the treasurer may name another.
type NewSubscription struct {
	Member string `json:"member"`
	Shares int64  `json:"shares"`
}

// Subscribe takes shares of a kit ahead, or as many as now said in place of
// those taken before. It refuses with NotFound, Forbidden for another's
// shares, "kit-closed", "subscriptions-closed" once the kit is in use, its
// offer is over or it has none, "subscription-full", "member-left", and
// Invalid for more than one share of a kit that is shared alike.
func Subscribe(ctx context.Context, tx pgx.Tx, s lab.Scope, kitID string, in NewSubscription) (KitTerms, error) {
	if in.Member == "" {
		in.Member = s.By.ID
	}
	if in.Shares == 0 {
		in.Shares = 1
	}
	k, err := subscribable(ctx, tx, s, kitID, in.Member)
	if err != nil {
		return KitTerms{}, err
	}
	if err := refuseParty(ctx, tx, s.Lab.ID, "/member", in.Member); err != nil {
		return KitTerms{}, err
	}
	if in.Shares > 1 && k.ShareRule != Weighted {
		return KitTerms{}, lab.Refuse(lab.Invalid, "invalid", "the kit is not shared by weight").
			With("/shares", "out-of-range", "each subscriber takes one share")
	}
	taken := in.Shares
	for _, other := range k.Subscriptions {
		if other.Member != in.Member {
			taken += other.Shares
		}
	}
	if k.Offer.Shares != nil && taken > *k.Offer.Shares {
		return KitTerms{}, lab.Refuse(lab.Conflict, "subscription-full", "%d of the %d shares are taken already", taken-in.Shares, *k.Offer.Shares)
	}
	if err := addSubscription(ctx, tx, s, kitID, in); err != nil {
		return KitTerms{}, err
	}
	return subscribed(ctx, tx, s, kitID)
}

// Unsubscribe gives a member's shares back. It refuses as Subscribe does.
func Unsubscribe(ctx context.Context, tx pgx.Tx, s lab.Scope, kitID, member string) error {
	if _, err := subscribable(ctx, tx, s, kitID, member); err != nil {
		return err
	}
	tag, err := tx.Exec(ctx, `DELETE FROM subscriptions WHERE lab_id = $1 AND kit_id = $2 AND member_id = $3`, s.Lab.ID, kitID, member)
	if err != nil {
		return fmt.Errorf("unsubscribe: %w", err)
	}
	if tag.RowsAffected() == 0 {
		return lab.Refuse(lab.NotFound, "not-found", "there is no such subscription")
	}
	_, err = subscribed(ctx, tx, s, kitID)
	return err
}

// subscribable locks a kit whose subscriptions may still change by the asking member.
func subscribable(ctx context.Context, tx pgx.Tx, s lab.Scope, kitID, member string) (KitTerms, error) {
	if member != s.By.ID && !s.By.Has(lab.RoleTreasurer) {
		return KitTerms{}, lab.Refuse(lab.Forbidden, "forbidden", "members subscribe for themselves")
	}
	k, err := lockTerms(ctx, tx, s.Lab.ID, kitID)
	if err != nil {
		return KitTerms{}, err
	}
	switch {
	case k.Offer == nil:
		return KitTerms{}, lab.Refuse(lab.Conflict, "subscriptions-closed", "nobody can subscribe to this kit")
	case k.Fixed:
		return KitTerms{}, lab.Refuse(lab.Conflict, "subscriptions-closed", "the kit is in use")
	case !s.Now.Before(k.Offer.Until):
		return KitTerms{}, lab.Refuse(lab.Conflict, "subscriptions-closed", "subscriptions closed at %s", k.Offer.Until.Format("2006-01-02 15:04 MST"))
	}
	return k, nil
}

func addSubscription(ctx context.Context, tx pgx.Tx, s lab.Scope, kitID string, in NewSubscription) error {
	_, err := tx.Exec(ctx, `
		INSERT INTO subscriptions (lab_id, kit_id, member_id, shares, made_at) VALUES ($1, $2, $3, $4, $5)
		ON CONFLICT (lab_id, kit_id, member_id) DO UPDATE SET shares = $4, made_at = $5`,
		s.Lab.ID, kitID, in.Member, in.Shares, s.Now)
	if err != nil {
		return fmt.Errorf("subscribe: %w", err)
	}
	return nil
}

// subscribed carries changed subscriptions over to the kit and reads its terms.
func subscribed(ctx context.Context, tx pgx.Tx, s lab.Scope, kitID string) (KitTerms, error) {
	_, err := tx.Exec(ctx, `
		UPDATE kits SET version = version + 1, subscribers = ARRAY(
			SELECT member_id FROM subscriptions WHERE lab_id = $1 AND kit_id = $2 ORDER BY member_id)
		WHERE lab_id = $1 AND id = $2`, s.Lab.ID, kitID)
	if err != nil {
		return KitTerms{}, fmt.Errorf("subscribe: %w", err)
	}
	if err := touchTerms(ctx, tx, s.Lab.ID, kitID); err != nil {
		return KitTerms{}, err
	}
	kit, err := chemistry.FindKit(ctx, tx, s.Lab.ID, kitID)
	if err != nil {
		return KitTerms{}, err
	}
	return kitTerms(ctx, tx, s.Lab.ID, kit)
}

func readSubscriptions(ctx context.Context, tx pgx.Tx, labID, kitID string) ([]Subscription, error) {
	rows, err := tx.Query(ctx, `
		SELECT member_id, shares FROM subscriptions WHERE lab_id = $1 AND kit_id = $2 ORDER BY member_id`, labID, kitID)
	if err != nil {
		return nil, fmt.Errorf("read subscriptions: %w", err)
	}
	subs, err := pgx.CollectRows(rows, pgx.RowToStructByPos[Subscription])
	if err != nil {
		return nil, fmt.Errorf("read subscriptions: %w", err)
	}
	return subs, nil
}
