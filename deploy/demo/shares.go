package demo

import (
	"context"
	"fmt"
	"net/http"

	"wetside/chemistry/shares"
)

// closeTwice closes a kit by the rule that it was bought with; then everybody
// who shares it agrees on another, the closing is reversed, and the kit closed by
// that. Somebody who owes after that pays a part.
func (s *story) closeTwice(ctx context.Context, kit, path, because string) error {
	treasurer := s.people[treasurerKey]
	closing := map[string]string{"because": because}
	if err := treasurer.post(ctx, path, closing, &s.told.FirstClosing); err != nil {
		return err
	}
	s.say("the first kit is closed (%s): %d share its price", because, len(s.told.FirstClosing.Shares))
	reason := map[string]string{"reason": "The meeting has users bear the waste, by area"}
	if err := treasurer.post(ctx, s.in("entries", s.told.FirstClosing.Entry, "reversal"), reason, nil); err != nil {
		return err
	}
	var change shares.TermsChange
	other := map[string]string{"share_rule": "by_area", "unused_falls_on": "users", "reason": reason["reason"]}
	if err := treasurer.post(ctx, s.in("kits", kit, "terms-changes"), other, &change); err != nil {
		return err
	}
	asked := len(change.Waiting)
	for _, p := range s.people {
		for _, waiting := range change.Waiting {
			if waiting != p.id {
				continue
			}
			note := map[string]string{"note": "At the meeting"}
			if err := p.post(ctx, s.in("kits", kit, "terms-changes", change.ID, "consents"), note, nil); err != nil {
				return err
			}
		}
	}
	if err := treasurer.post(ctx, path, closing, &s.told.Closing); err != nil {
		return err
	}
	s.say("all %d sharers consent to another rule, and the kit is closed by that", asked)
	return s.payPart(ctx)
}

// payPart has the first member who owes another pay half of it, and the other confirm.
func (s *story) payPart(ctx context.Context) error {
	var settlement shares.LabSettlement
	if _, err := s.people[treasurerKey].get(ctx, s.in("settlement"), &settlement); err != nil {
		return err
	}
	for _, pay := range settlement.Payments {
		if pay.From == "" || pay.To == "" || pay.Amount < 2 {
			continue
		}
		payer, payee := s.member(pay.From), s.member(pay.To)
		in := map[string]any{
			"to": pay.To, "amount": map[string]any{"amount": pay.Amount / 2, "currency": settlement.Currency},
			"paid_on": s.setup.clock.now.In(s.cal.monday.Location()).Format("2006-01-02"), "reference": pay.Reference,
		}
		var record shares.PaymentRecord
		etag, err := payer.call(ctx, http.MethodPost, s.in("payments"), "", in, &record)
		if err != nil {
			return err
		}
		answer := map[string]bool{"received": true}
		if _, err := payee.call(ctx, http.MethodPost, s.in("payments", record.ID, "answer"), etag, answer, nil); err != nil {
			return err
		}
		s.say("%s pays %s a part: %s", payer.name, payee.name, money(record.Amount, settlement.Currency))
		return nil
	}
	return fmt.Errorf("nobody owes another member anything: %+v", settlement)
}

// member is the person of an id.
func (s *story) member(id string) person {
	for _, p := range s.people {
		if p.id == id {
			return p
		}
	}
	return person{}
}
