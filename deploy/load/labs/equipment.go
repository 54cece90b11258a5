package labs

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/chemistry/shares"
	"wetside/lab"
	"wetside/lab/units"
)

// equip gives a lab what a run of small-gauge reversal takes, of which nothing
// but the reels runs out. It gives the tank's id.
func equip(ctx context.Context, tx pgx.Tx, s lab.Scope) (string, error) {
	_, err := lab.AddReelKind(ctx, tx, s, lab.NewReelKind{Code: "spiral-8", Name: "small-gauge spiral", Count: Places,
		HeightMM: 100, SolutionML: 600, Loading: 10 * units.Minute, Drying: 4 * units.Hour})
	if err != nil {
		return "", err
	}
	tank, err := lab.AddTank(ctx, tx, s, lab.NewTank{Name: "Tank", HeightMM: 205, VolumeML: 1500, HeaterW: 500,
		ReelKinds: []string{"spiral-8"}, CleanUp: 10 * units.Minute, Flush: 5 * units.Minute})
	if err != nil {
		return "", err
	}
	_, err = lab.AddCabinet(ctx, tx, s, lab.NewCabinet{Name: "Cabinet", Positions: 16, DropMM: 1700, Drying: 4 * units.Hour})
	if err != nil {
		return "", err
	}
	_, err = shares.Buy(ctx, tx, s, kit(s.Now))
	return tank.ID, err
}

// kit carries more than is ever booked.
func kit(now time.Time) shares.NewKit {
	var baths []chemistry.BathDefinition
	for _, role := range []string{"first-developer", "colour-developer", "bleach-fix", "stabiliser"} {
		baths = append(baths, chemistry.BathDefinition{Role: role, Use: chemistry.Reused, VolumeML: 1500, Life: 90 * units.Day})
	}
	return shares.NewKit{
		NewKit: chemistry.NewKit{Name: "Three-bath reversal", Process: "reversal-3", Price: units.Money{Amount: 6000, Currency: "EUR"},
			BoughtOn: now.Format(time.DateOnly), Portions: 1, Mix: 20 * units.Minute, UnopenedUntil: now.AddDate(1, 0, 0), OpenedLife: 90 * units.Day,
			RatedAreaMM2: 1000 * chemistry.RollEquivalentMM2, Baths: baths, ShareRule: chemistry.ByArea, UnusedFallsOn: chemistry.OnUsers},
		Price: shares.Price{Amount: 6000, Currency: "EUR"},
	}
}
