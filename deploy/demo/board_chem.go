package demo

import (
	"context"
	"net/url"

	"wetside/chemistry"
	"wetside/scheduling"
)

// chemistry reads what the print says of one bath, a kit to mix,
// cine film, a spoiled roll, and waste.
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
	for _, k := range b.Kits {
		// The kit on the shelf that says what it is mixed of.
		if k.ClosedAt == nil && k.PortionsLeft > 0 && len(k.Baths[0].Concentrates) > 0 {
			b.ToMix = k.ID
			if _, err := r.get(ctx, r.lab+"kits/"+k.ID+"/mixing-table", &b.Mixing); err != nil {
				return err
			}
		}
	}
	var never struct {
		Items []chemistry.Incompatibility `json:"items"`
	}
	if _, err := r.get(ctx, r.lab+"incompatibilities", &never); err != nil {
		return err
	}
	b.Never = never.Items
	for _, roll := range b.Rolls {
		if b.format(roll.Format).Kind != chemistry.Cine {
			continue
		}
		if _, err := r.get(ctx, r.lab+"formats/"+roll.Format+"/measure", &b.Film); err != nil {
			return err
		}
		break
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
