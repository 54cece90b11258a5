package shares

import (
	"context"
	"fmt"
	"math/big"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
)

// An Estimate is what rolls would cost a member on a kit, before they are run.
type Estimate struct {
	Kit      string `json:"kit"`
	Currency string `json:"currency"`
	// Rolls and AreaMM2 are those that are not free.
	Rolls   int64 `json:"rolls"`
	AreaMM2 int64 `json:"area_mm2"`
	// Provisional is what their run would charge; Surcharge is the most that comes on top
	// for water, power and wear, if no other rolls share the run.
	Provisional int64 `json:"provisional"`
	Surcharge   int64 `json:"surcharge"`
	// UsedUp is how it ends if others use all that is left of the kit, and
	// NothingMore if nobody uses any more of it.
	UsedUp      Outlook `json:"used_up"`
	NothingMore Outlook `json:"nothing_more"`
	// Least and Most are the range of what these rolls cost in the end, without the surcharge.
	Least int64 `json:"least"`
	Most  int64 `json:"most"`
}

// An Outlook is a member's share of a kit in the end, and these rolls' part of
// it, in minor units.
type Outlook struct {
	Share      int64 `json:"share"`
	TheseRolls int64 `json:"these_rolls"`
}

// EstimateRolls estimates what rolls of one member would cost them on a kit;
// those that are free cost nothing. It refuses with NotFound and "kit-closed".
func EstimateRolls(ctx context.Context, tx pgx.Tx, s lab.Scope, kitID, member string, rolls []RollUse) (Estimate, error) {
	kit, err := chemistry.FindKit(ctx, tx, s.Lab.ID, kitID)
	if err != nil {
		return Estimate{}, err
	}
	if kit.ClosedAt != nil {
		return Estimate{}, lab.Refuse(lab.Conflict, "kit-closed", "the kit is closed and its price shared")
	}
	terms, err := readTerms(ctx, tx, s.Lab.ID, kit)
	if err != nil {
		return Estimate{}, err
	}
	uses, err := readUses(ctx, tx, s.Lab.ID, kitID)
	if err != nil {
		return Estimate{}, err
	}
	rules, err := ReadMoneyRules(ctx, tx, s.Lab.ID)
	if err != nil {
		return Estimate{}, err
	}
	if err := markFree(ctx, tx, s.Lab.ID, rolls); err != nil {
		return Estimate{}, err
	}
	areas := []int64{}
	for _, r := range rolls {
		if r.Free {
			uses = append(uses, Use{AreaMM2: r.AreaMM2, Free: true})
		} else {
			areas = append(areas, r.AreaMM2)
		}
	}
	e := Estimate{}
	if len(areas) > 0 {
		if e, err = Foresee(terms, uses, member, areas); err != nil {
			return Estimate{}, fmt.Errorf("estimate: %w", err)
		}
		e.Surcharge = rules.SurchargeMinor
	}
	e.Kit, e.Currency = kit.ID, s.Lab.Currency
	return e, nil
}

// another stands for whoever uses up what is left. No member has such an id.
const another = "~another"

// Foresee estimates what rolls of a member would cost on a kit that has been
// used so far as uses say. A share is divided between the member's rolls in the
// measure of the kit's rule, of which that of subscribers alone depends on no
// roll: such a share is these rolls' part whole. It fails as Close does.
func Foresee(k Terms, uses []Use, member string, areasMM2 []int64) (Estimate, error) {
	e := Estimate{Rolls: int64(len(areasMM2))}
	with := append([]Use{}, uses...)
	var taken int64
	for _, u := range uses {
		taken += u.AreaMM2
	}
	for _, a := range areasMM2 {
		with = append(with, Use{Member: member, AreaMM2: a})
		e.AreaMM2 += a
		taken += a
	}
	var err error
	if e.Provisional, err = k.Rate(e.AreaMM2); err != nil {
		return Estimate{}, err
	}
	if e.NothingMore, err = outlook(k, with, member, e); err != nil {
		return Estimate{}, err
	}
	// What is left goes in pieces of the size of these rolls, for rolls are counted too; but in no
	// more than a thousand.
	left := k.RatedAreaMM2 - taken
	size := max(1, e.AreaMM2/max(1, e.Rolls), left/1000)
	for ; left > 0; left -= size {
		with = append(with, Use{Member: another, AreaMM2: min(size, left)})
	}
	if e.UsedUp, err = outlook(k, with, member, e); err != nil {
		return Estimate{}, err
	}
	e.Least = min(e.UsedUp.TheseRolls, e.NothingMore.TheseRolls)
	e.Most = max(e.UsedUp.TheseRolls, e.NothingMore.TheseRolls)
	return e, nil
}

func outlook(k Terms, uses []Use, member string, e Estimate) (Outlook, error) {
	c, err := Close(k, uses)
	if err != nil {
		return Outlook{}, err
	}
	for _, s := range c.Shares {
		if s.Member != member {
			continue
		}
		part, whole := e.AreaMM2, s.AreaMM2
		if k.Rule == ByRoll {
			part, whole = e.Rolls, s.Rolls
		}
		if whole == 0 {
			return Outlook{Share: s.Total}, nil
		}
		these := new(big.Int).Mul(big.NewInt(s.Total), big.NewInt(2*part))
		these.Add(these, big.NewInt(whole)).Quo(these, big.NewInt(2*whole))
		return Outlook{Share: s.Total, TheseRolls: these.Int64()}, nil
	}
	return Outlook{}, nil
}
