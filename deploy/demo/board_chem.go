package demo

import (
	"context"
	"net/url"

	"wetside/chemistry"
	"wetside/scheduling"
)

// chemistry reads what the print says of one bath, a spoiled roll, and waste.
func (r reader) chemistry(ctx context.Context, b *Board) error {
	// The bath that shows most: one whose time grows to a longest, with the most booked on it.
	for _, set := range b.BathSets {
		if b.kit(set.Kit).ClosedAt != nil {
			continue
		}
		at := r.lab + "baths/" + set.Baths[0].ID
		var bath scheduling.BathAnswer
		if _, err := r.get(ctx, at, &bath); err != nil {
			return err
		}
		var what scheduling.WhatIf
		if _, err := r.get(ctx, at+"/what-if", &what); err != nil {
			return err
		}
		if what.Time != nil && (b.Bath.ID == "" || bath.Outlook.BookedAreaMM2 > b.Bath.Outlook.BookedAreaMM2) {
			b.Bath, b.WhatIf = bath, what
		}
	}
	runs, err := all[scheduling.Run](ctx, r.client, r.lab+"runs")
	if err != nil {
		return err
	}
	for _, run := range runs {
		if run.Outcome == scheduling.RunSpoiled {
			if _, err := r.get(ctx, r.lab+"trace?of="+url.QueryEscape(run.RunSheet.Rolls[0].Roll), &b.Trace); err != nil {
				return err
			}
		}
	}
	var totals struct {
		Items []chemistry.WasteTotal `json:"items"`
	}
	if _, err := r.get(ctx, r.lab+"waste-totals", &totals); err != nil {
		return err
	}
	b.Waste = totals.Items
	return nil
}
