package scheduling

import (
	"context"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// equipment is all that the lab owns to develop and dry film with.
type equipment struct {
	tanks    []lab.Tank
	reels    []lab.ReelKind
	cabinets []lab.Cabinet
}

// everything is a page that holds all the equipment a lab can have.
var everything = lab.Page{Limit: 10_000}

func readEquipment(ctx context.Context, tx pgx.Tx, labID string) (equipment, error) {
	tanks, err := lab.Tanks(ctx, tx, labID, everything)
	if err != nil {
		return equipment{}, err
	}
	reels, err := lab.ReelKinds(ctx, tx, labID, everything)
	if err != nil {
		return equipment{}, err
	}
	cabinets, err := lab.Cabinets(ctx, tx, labID, everything)
	if err != nil {
		return equipment{}, err
	}
	return equipment{tanks: tanks.Items, reels: reels.Items, cabinets: cabinets.Items}, nil
}
