package shares

import (
	"errors"
	"fmt"
	"math/big"
	"slices"

	"wetside/lab/units"
)

// A Rule is what the used part of a kit's price is shared by.
type Rule string

// The rules.
const (
	ByArea  Rule = "by_area" // by the film area of each member's rolls
	ByRoll  Rule = "by_roll" // by the number of each member's rolls
	Equally Rule = "equally" // alike among the subscribers, or among the users if there are none
	// Weighted is among the subscribers by the shares they took, or alike among the users.
	Weighted Rule = "weighted"
)

// FallsOn is who bears what no finished roll used.
type FallsOn string

// Who bears it: the users in the measure of the kit's rule, the subscribers
// (alike, or by their shares if the rule is weighted), or the co-op's fund.
const (
	Users       FallsOn = "users"
	Subscribers FallsOn = "subscribers"
	Fund        FallsOn = "fund"
)

// SpoiledFallsOn is who bears what spoiled runs have used up.
type SpoiledFallsOn string

// Who bears it: whoever bears what was never used, those who share the used
// part in the same measure, or the fund.
const (
	AsUnused    SpoiledFallsOn = "as_unused"
	OnSharers   SpoiledFallsOn = "sharers"
	SpoiledFund SpoiledFallsOn = "fund"
)

// Terms are what the lab agreed when it bought a kit.
type Terms struct {
	// Price is the whole kit's, in minor units.
	Price int64
	// RatedAreaMM2 is what all portions of the kit together are rated for.
	RatedAreaMM2  int64
	Rule          Rule
	UnusedFallsOn FallsOn
	// SpoiledFallsOn is AsUnused unless given.
	SpoiledFallsOn SpoiledFallsOn
	// Subscribers are member ids; their order does not matter and repeats count once.
	Subscribers []string
	// Weights are the subscribers' shares, one each unless given.
	Weights map[string]int64
}

// A Use is a piece of a kit's capacity that film has taken.
type Use struct {
	// Member is whose roll it was; of a spoiled use it does not matter.
	Member  string
	AreaMM2 int64
	// Spoiled capacity is used up, but not charged to the members whose film it spoiled.
	Spoiled bool
	// Free is a roll that the fund pays for: the fund is its user.
	Free bool
}

// ErrTerms and ErrUse say that Close was given what no kit or run can be.
var (
	ErrTerms = errors.New("no such terms of a kit")
	ErrUse   = errors.New("no such use of a kit")
)

func (k Terms) check() error {
	switch {
	case k.Price <= 0 || k.Price > units.MaxMoney:
		return fmt.Errorf("%w: price %d", ErrTerms, k.Price)
	case k.RatedAreaMM2 <= 0 || k.RatedAreaMM2 > maxArea:
		return fmt.Errorf("%w: rated area %d mm²", ErrTerms, k.RatedAreaMM2)
	case !slices.Contains([]Rule{ByArea, ByRoll, Equally, Weighted}, k.Rule):
		return fmt.Errorf("%w: rule %q", ErrTerms, k.Rule)
	case !slices.Contains([]FallsOn{Users, Subscribers, Fund}, k.UnusedFallsOn):
		return fmt.Errorf("%w: unused falls on %q", ErrTerms, k.UnusedFallsOn)
	case !slices.Contains([]SpoiledFallsOn{"", AsUnused, OnSharers, SpoiledFund}, k.SpoiledFallsOn):
		return fmt.Errorf("%w: spoiled falls on %q", ErrTerms, k.SpoiledFallsOn)
	case slices.Contains(k.Subscribers, ""):
		return fmt.Errorf("%w: a subscriber without an id", ErrTerms)
	}
	for m, w := range k.Weights {
		if w < 1 {
			return fmt.Errorf("%w: %d shares of %s", ErrTerms, w, m)
		}
	}
	return nil
}

// weight is a subscriber's shares.
func (k Terms) weight(subscriber string) int64 { return max(1, k.Weights[subscriber]) }

// bySubscription is what subscribers bear by: their shares where those are what the
// kit is shared by, and else alike.
func (k Terms) bySubscription() func(string) int64 {
	if k.Rule == Weighted {
		return k.weight
	}
	return alike
}

// maxArea bounds the area on a kit, rated or used: a thousand square
// kilometres, so that sums stay far from 64 bits.
const maxArea = 1_000_000_000_000_000

// Rate is what film of an area is charged provisionally: its part of the price
// by the rated area, rounded half up.
func (k Terms) Rate(areaMM2 int64) (int64, error) {
	if err := k.check(); err != nil {
		return 0, err
	}
	if areaMM2 <= 0 || areaMM2 > maxArea {
		return 0, fmt.Errorf("%w: area %d mm²", ErrUse, areaMM2)
	}
	twice := new(big.Int).Mul(big.NewInt(2*k.Price), big.NewInt(areaMM2))
	twice.Add(twice, big.NewInt(k.RatedAreaMM2))
	charge := twice.Quo(twice, big.NewInt(2*k.RatedAreaMM2))
	if charge.Cmp(big.NewInt(units.MaxMoney)) > 0 {
		return 0, fmt.Errorf("%w: area %d mm² costs more than can be booked", ErrUse, areaMM2)
	}
	return charge.Int64(), nil
}
