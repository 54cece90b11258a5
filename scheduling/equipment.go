package scheduling

import (
	"context"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/database"
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
	var eq equipment
	err := database.Together(ctx, tx, eq.reads(ctx, labID)...)
	return eq, err
}

// reads are what it takes to read the equipment, to be run together.
func (eq *equipment) reads(ctx context.Context, labID string) []func(pgx.Tx) error {
	return []func(pgx.Tx) error{
		func(tx pgx.Tx) error {
			tanks, err := lab.Tanks(ctx, tx, labID, everything)
			eq.tanks = tanks.Items
			return err
		},
		func(tx pgx.Tx) error {
			reels, err := lab.ReelKinds(ctx, tx, labID, everything)
			eq.reels = reels.Items
			return err
		},
		func(tx pgx.Tx) error {
			cabinets, err := lab.Cabinets(ctx, tx, labID, everything)
			eq.cabinets = cabinets.Items
			return err
		},
	}
}
