package shares

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// A TermsChange is another rule for a kit. Before the kit's first use it holds
// at once; after that, once every sharer has consented.
type TermsChange struct {
	ID             string         `json:"id"`
	Kit            string         `json:"kit"`
	ShareRule      Rule           `json:"share_rule"`
	UnusedFallsOn  FallsOn        `json:"unused_falls_on"`
	SpoiledFallsOn SpoiledFallsOn `json:"spoiled_falls_on"`
	Reason         string         `json:"reason"`
	ProposedBy     string         `json:"proposed_by"`
	ProposedAt     time.Time      `json:"proposed_at"`
	AppliedAt      *time.Time     `json:"applied_at,omitempty"`
	WithdrawnAt    *time.Time     `json:"withdrawn_at,omitempty"`
	// Consents are those recorded, Waiting the sharers who have not consented yet.
	Consents []Consent `json:"consents"`
	Waiting  []string  `json:"waiting"`
}

// A Consent is a sharer's yes to a change, and who recorded it.
type Consent struct {
	Member     string    `json:"member"`
	RecordedBy string    `json:"recorded_by"`
	Note       string    `json:"note"`
	At         time.Time `json:"at"`
}

// A NewTermsChange is what is to be another; nil leaves it.
type NewTermsChange struct {
	ShareRule      *Rule           `json:"share_rule"`
	UnusedFallsOn  *FallsOn        `json:"unused_falls_on"`
	SpoiledFallsOn *SpoiledFallsOn `json:"spoiled_falls_on"`
	Reason         string          `json:"reason"`
}

// A NewConsent is a sharer's yes. The treasurer may record another's, such as a
// guest's, and notes then how it was given.
type NewConsent struct {
	Member string `json:"member"`
	Note   string `json:"note"`
}

// ProposeTerms changes a kit's rule, at once if it was never used, and else as
// soon as every sharer has consented. It refuses
// with NotFound, "kit-closed", "terms-change-open" while another is waited for,
// and Invalid.
func ProposeTerms(ctx context.Context, tx pgx.Tx, s lab.Scope, kitID string, in NewTermsChange) (TermsChange, error) {
	k, err := lockTerms(ctx, tx, s.Lab.ID, kitID)
	if err != nil {
		return TermsChange{}, err
	}
	if k.Change != nil {
		return TermsChange{}, lab.Refuse(lab.Conflict, "terms-change-open", "sharers have yet to consent to another change")
	}
	rule, unused, spoiled := or(in.ShareRule, k.ShareRule), or(in.UnusedFallsOn, k.UnusedFallsOn), or(in.SpoiledFallsOn, k.SpoiledFallsOn)
	among := rule == Equally || rule == Weighted || unused == Subscribers
	if among && len(k.Subscriptions) == 0 && (k.Offer == nil || k.Fixed) {
		return TermsChange{}, lab.Refuse(lab.Invalid, "invalid", "nobody subscribes to this kit").
			With("/share_rule", "missing", "somebody has to subscribe to a kit that subscribers share")
	}
	var id string
	err = tx.QueryRow(ctx, `
		INSERT INTO terms_changes (lab_id, id, kit_id, share_rule, unused_falls_on, spoiled_falls_on, reason, proposed_by, proposed_at)
		VALUES ($1, new_id('change', $2), $3, $4, $5, $6, $7, $8, $2) RETURNING id`,
		s.Lab.ID, s.Now, kitID, rule, unused, spoiled, in.Reason, s.By.ID).Scan(&id)
	if err != nil {
		return TermsChange{}, fmt.Errorf("propose terms: %w", err)
	}
	return applyIfAgreed(ctx, tx, s, k, id)
}

// RecordConsent records a sharer's consent to a change, and makes the change
// if it was the last. It refuses with NotFound, Forbidden for another's
// consent, "kit-closed", "not-a-sharer", and "already-consented".
func RecordConsent(ctx context.Context, tx pgx.Tx, s lab.Scope, kitID, changeID string, in NewConsent) (TermsChange, error) {
	if in.Member == "" {
		in.Member = s.By.ID
	}
	if in.Member != s.By.ID && !s.By.Has(lab.RoleTreasurer) {
		return TermsChange{}, lab.Refuse(lab.Forbidden, "forbidden", "everybody consents for themselves")
	}
	k, err := lockTerms(ctx, tx, s.Lab.ID, kitID)
	if err != nil {
		return TermsChange{}, err
	}
	if k.Change == nil || k.Change.ID != changeID {
		return TermsChange{}, lab.Refuse(lab.NotFound, "not-found", "no such change of the kit waits for consent")
	}
	if slices.ContainsFunc(k.Change.Consents, func(c Consent) bool { return c.Member == in.Member }) {
		return TermsChange{}, lab.Refuse(lab.Conflict, "already-consented", "this consent is recorded already")
	}
	if !slices.Contains(k.Change.Waiting, in.Member) {
		return TermsChange{}, lab.Refuse(lab.Conflict, "not-a-sharer", "only who used the kit, or subscribes to it, is asked")
	}
	_, err = tx.Exec(ctx, `INSERT INTO consents (lab_id, change_id, member_id, recorded_by, note, at) VALUES ($1, $2, $3, $4, $5, $6)`,
		s.Lab.ID, changeID, in.Member, s.By.ID, in.Note, s.Now)
	if err != nil {
		return TermsChange{}, fmt.Errorf("record consent: %w", err)
	}
	return applyIfAgreed(ctx, tx, s, k, changeID)
}

// WithdrawChange takes back a change that waits for consent. It refuses with NotFound.
func WithdrawChange(ctx context.Context, tx pgx.Tx, s lab.Scope, kitID, changeID string) error {
	k, err := lockTerms(ctx, tx, s.Lab.ID, kitID)
	if err != nil {
		return err
	}
	if k.Change == nil || k.Change.ID != changeID {
		return lab.Refuse(lab.NotFound, "not-found", "no such change of the kit waits for consent")
	}
	_, err = tx.Exec(ctx, `UPDATE terms_changes SET withdrawn_at = $3 WHERE lab_id = $1 AND id = $2`, s.Lab.ID, changeID, s.Now)
	if err != nil {
		return fmt.Errorf("withdraw change: %w", err)
	}
	return touchTerms(ctx, tx, s.Lab.ID, kitID)
}

// applyIfAgreed makes a change that nobody is waited for any more.
func applyIfAgreed(ctx context.Context, tx pgx.Tx, s lab.Scope, k KitTerms, changeID string) (TermsChange, error) {
	c, err := openChange(ctx, tx, s.Lab.ID, k.Kit)
	if err != nil {
		return TermsChange{}, err
	}
	if c == nil || c.ID != changeID {
		return TermsChange{}, errors.New("the change is not there")
	}
	if err := touchTerms(ctx, tx, s.Lab.ID, k.Kit); err != nil {
		return TermsChange{}, err
	}
	if k.Fixed && len(c.Waiting) > 0 {
		return *c, nil
	}
	c.Waiting, c.AppliedAt = []string{}, &s.Now
	_, err = tx.Exec(ctx, `UPDATE terms_changes SET applied_at = $3 WHERE lab_id = $1 AND id = $2`, s.Lab.ID, changeID, s.Now)
	if err != nil {
		return TermsChange{}, fmt.Errorf("change terms: %w", err)
	}
	_, err = tx.Exec(ctx, `
		UPDATE kits SET share_rule = $3, unused_falls_on = $4, version = version + 1
		WHERE lab_id = $1 AND id = $2`, s.Lab.ID, k.Kit, c.ShareRule, c.UnusedFallsOn)
	if err != nil {
		return TermsChange{}, fmt.Errorf("change terms: %w", err)
	}
	_, err = tx.Exec(ctx, `UPDATE kit_terms SET spoiled_falls_on = $3 WHERE lab_id = $1 AND kit_id = $2`, s.Lab.ID, k.Kit, c.SpoiledFallsOn)
	if err != nil {
		return TermsChange{}, fmt.Errorf("change terms: %w", err)
	}
	return *c, nil
}

func or[T any](p *T, otherwise T) T {
	if p != nil {
		return *p
	}
	return otherwise
}
