package shares

import (
	"context"
	"math/big"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
	"wetside/lab/units"
)

// RollEquivalent is the film area that the trade counts as one roll: 80 square
// inches, in mm².
const RollEquivalent = 51_613

// A Fairness report is what a kit really cost its users, and what other rules
// would have given.
type Fairness struct {
	Kit    string      `json:"kit"`
	Price  units.Money `json:"price"`
	Closed bool        `json:"closed"`
	// RatedPerRoll is the price of a roll-equivalent by what the kit is rated for, and
	// EffectivePerRoll by what finished rolls used of it, in minor units, rounded half up;
	// the latter is absent where nothing was used.
	RatedPerRoll     int64  `json:"rated_per_roll"`
	EffectivePerRoll *int64 `json:"effective_per_roll,omitempty"`
	UsedAreaMM2      int64  `json:"used_area_mm2"`
	SpoiledAreaMM2   int64  `json:"spoiled_area_mm2"`
	UnusedAreaMM2    int64  `json:"unused_area_mm2"`
	// WasteMinor is the part of the price that no finished roll used, and BorneBy who bears it.
	WasteMinor int64     `json:"waste_minor"`
	BorneBy    []Balance `json:"borne_by"`
	// Ruled is how the kit is shared, Otherwise how each other rule would share it.
	Ruled     RuleOutcome   `json:"ruled"`
	Otherwise []RuleOutcome `json:"otherwise"`
}

// A RuleOutcome is what each would bear by a rule, and what that differs from
// the rule that holds by.
type RuleOutcome struct {
	Rule           Rule           `json:"rule"`
	UnusedFallsOn  FallsOn        `json:"unused_falls_on"`
	SpoiledFallsOn SpoiledFallsOn `json:"spoiled_falls_on"`
	Shares         []RuleShare    `json:"shares"`
}

// A RuleShare is one party's; Member is empty for the fund.
type RuleShare struct {
	Member     string `json:"member,omitempty"`
	Total      int64  `json:"total"`
	Difference int64  `json:"difference"`
}

// ReadFairness reports on a kit; one that is open, as if it were closed now. It
// refuses with NotFound.
func ReadFairness(ctx context.Context, tx pgx.Tx, s lab.Scope, kitID string) (Fairness, error) {
	kit, err := chemistry.FindKit(ctx, tx, s.Lab.ID, kitID)
	if err != nil {
		return Fairness{}, err
	}
	terms, err := readTerms(ctx, tx, s.Lab.ID, kit)
	if err != nil {
		return Fairness{}, err
	}
	uses, err := readUses(ctx, tx, s.Lab.ID, kitID)
	if err != nil {
		return Fairness{}, err
	}
	f, err := Judge(terms, uses)
	if err != nil {
		return Fairness{}, err
	}
	f.Kit, f.Price, f.Closed = kit.ID, kit.Price, kit.ClosedAt != nil
	return f, nil
}

// Judge reports on what a kit's terms and uses come to. It fails as Close does.
func Judge(k Terms, uses []Use) (Fairness, error) {
	c, err := Close(k, uses)
	if err != nil {
		return Fairness{}, err
	}
	f := Fairness{
		UsedAreaMM2: c.UsedAreaMM2, SpoiledAreaMM2: c.SpoiledAreaMM2,
		UnusedAreaMM2: max(0, k.RatedAreaMM2-c.UsedAreaMM2-c.SpoiledAreaMM2),
		RatedPerRoll:  perRoll(k.Price, k.RatedAreaMM2), WasteMinor: c.UnusedMinor, BorneBy: []Balance{},
		Ruled: outcome(c, c), Otherwise: []RuleOutcome{},
	}
	if c.UsedAreaMM2 > 0 {
		effective := perRoll(k.Price, c.UsedAreaMM2)
		f.EffectivePerRoll = &effective
	}
	for _, s := range c.Shares {
		if waste := s.Unused + s.Spoiled; waste != 0 {
			f.BorneBy = append(f.BorneBy, Balance{Member: s.Member, Amount: waste})
		}
	}
	for _, rule := range []Rule{ByArea, ByRoll, Equally, Weighted} {
		for _, on := range []FallsOn{Users, Subscribers, Fund} {
			among := rule == Equally || rule == Weighted || on == Subscribers
			if rule == k.Rule && on == k.UnusedFallsOn || among && len(k.Subscribers) == 0 {
				continue
			}
			other := k
			other.Rule, other.UnusedFallsOn = rule, on
			would, err := Close(other, uses)
			if err != nil {
				return Fairness{}, err
			}
			f.Otherwise = append(f.Otherwise, outcome(would, c))
		}
	}
	return f, nil
}

// outcome is what a closing gives, against the one that holds.
func outcome(would, holds Closing) RuleOutcome {
	against := map[string]int64{}
	for _, s := range holds.Shares {
		against[s.Member] = s.Total
	}
	o := RuleOutcome{Rule: would.Rule, UnusedFallsOn: would.UnusedFallsOn, SpoiledFallsOn: would.SpoiledFallsOn, Shares: []RuleShare{}}
	for _, s := range would.Against(against).Shares {
		o.Shares = append(o.Shares, RuleShare{Member: s.Member, Total: s.Total, Difference: s.Adjustment})
	}
	return o
}

// perRoll is the price of a roll-equivalent where price is for an area, rounded half up.
func perRoll(price, area int64) int64 {
	twice := new(big.Int).Mul(big.NewInt(2*price), big.NewInt(RollEquivalent))
	twice.Add(twice, big.NewInt(area))
	return twice.Quo(twice, big.NewInt(2*area)).Int64()
}
