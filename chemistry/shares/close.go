package shares

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
)

// A Closing is how a kit's whole price is shared in the end.
type Closing struct {
	Rule           Rule           `json:"rule"`
	UnusedFallsOn  FallsOn        `json:"unused_falls_on"`
	SpoiledFallsOn SpoiledFallsOn `json:"spoiled_falls_on"`
	RatedAreaMM2   int64          `json:"rated_area_mm2"`
	// UsedAreaMM2 is that of the finished rolls; SpoiledAreaMM2 was used up besides.
	UsedAreaMM2    int64 `json:"used_area_mm2"`
	SpoiledAreaMM2 int64 `json:"spoiled_area_mm2"`
	// UnusedMinor is the part of the price that no finished roll used. SpoiledMinor
	// of it went into spoiled runs, the rest was never used at all.
	UnusedMinor  int64 `json:"unused_minor"`
	SpoiledMinor int64 `json:"spoiled_minor"`
	// Shares are in the order of the members' ids, the fund's last.
	Shares []Share `json:"shares"`
}

// A Share is what one member, or the fund, bears of a kit's price, in minor units.
type Share struct {
	// Member is empty for the fund.
	Member  string `json:"member,omitempty"`
	Rolls   int64  `json:"rolls"`
	AreaMM2 int64  `json:"area_mm2"`
	// Used, Unused and Spoiled add up to Total. Spoiled is for spoiled runs where those
	// fall apart from the unused part; else they are within Unused.
	Used    int64 `json:"used"`
	Unused  int64 `json:"unused"`
	Spoiled int64 `json:"spoiled"`
	Total   int64 `json:"total"`
	// Provisional is what was charged before, Adjustment what Total differs from it by.
	Provisional int64 `json:"provisional"`
	Adjustment  int64 `json:"adjustment"`
}

// Close shares the price of a kit in the end. Its totals add up to the price
// exactly, and the order of uses does not matter.
//
// The price is first cut by area into what finished rolls used, what spoiled
// runs used up, and what is left of the rated area; when more was used than
// rated, nothing is left and the price is cut over what was used. The used
// part is then shared by the kit's rule: among the users by area or by roll,
// or among the subscribers alike or by their shares. What was never used falls
// on whom the kit says: on the users in the measure of the rule (area, rolls,
// or alike), on the subscribers, or on the fund. The spoiled part falls with
// it, or apart on those who share the used part, or on the fund. Where there is
// nobody of that kind a part falls on the subscribers, and without any on the
// fund. Of free rolls the fund is the user.
//
// All cuts are made by Apportion, with members in the order of their ids and
// the fund last. It fails with ErrTerms or ErrUse.
func Close(k Terms, uses []Use) (Closing, error) {
	if err := k.check(); err != nil {
		return Closing{}, err
	}
	c := Closing{
		Rule: k.Rule, UnusedFallsOn: k.UnusedFallsOn, SpoiledFallsOn: cmp.Or(k.SpoiledFallsOn, AsUnused), RatedAreaMM2: k.RatedAreaMM2,
	}
	of := lines{}
	if err := c.count(uses, of); err != nil {
		return Closing{}, err
	}
	left := max(0, k.RatedAreaMM2-c.UsedAreaMM2-c.SpoiledAreaMM2)
	cut, err := Apportion(k.Price, []int64{c.UsedAreaMM2, c.SpoiledAreaMM2, left})
	if err != nil {
		return Closing{}, err
	}
	c.SpoiledMinor, c.UnusedMinor = cut[1], cut[1]+cut[2]
	who := newBearers(k, of)
	unused, spoiled := c.UnusedMinor, int64(0)
	if c.SpoiledFallsOn != AsUnused {
		unused, spoiled = cut[2], cut[1]
	}
	err = errors.Join(
		who.sharers.spread(cut[0], func(m string, part int64) { of.line(m).Used += part }),
		who.ofUnused(k.UnusedFallsOn).spread(unused, func(m string, part int64) { of.line(m).Unused += part }),
		who.ofSpoiled(c.SpoiledFallsOn).spread(spoiled, func(m string, part int64) { of.line(m).Spoiled += part }),
	)
	if err != nil {
		return Closing{}, err
	}
	for _, s := range of {
		s.Total = s.Used + s.Unused + s.Spoiled
		s.Adjustment = s.Total
		c.Shares = append(c.Shares, *s)
	}
	c.sort()
	return c, nil
}

// lines are the shares by member while they are being made.
type lines map[string]*Share

func (l lines) line(member string) *Share {
	if l[member] == nil {
		l[member] = &Share{Member: member}
	}
	return l[member]
}

// measure is what a rule weighs a member's use by.
func (l lines) measure(r Rule) func(member string) int64 {
	switch r {
	case ByArea:
		return func(m string) int64 { return l.line(m).AreaMM2 }
	case ByRoll:
		return func(m string) int64 { return l.line(m).Rolls }
	default:
		return alike
	}
}

func alike(string) int64 { return 1 }

// count adds up the areas, and each member's rolls.
func (c *Closing) count(uses []Use, of lines) error {
	for _, u := range uses {
		switch {
		case u.AreaMM2 <= 0 || u.AreaMM2 > maxArea-c.UsedAreaMM2-c.SpoiledAreaMM2:
			return fmt.Errorf("%w: area %d mm²", ErrUse, u.AreaMM2)
		case u.Spoiled:
			c.SpoiledAreaMM2 += u.AreaMM2
		case u.Member == "" && !u.Free:
			return fmt.Errorf("%w: a roll of nobody", ErrUse)
		default:
			c.UsedAreaMM2 += u.AreaMM2
			if u.Free {
				u.Member = ""
			}
			s := of.line(u.Member)
			s.Rolls++
			s.AreaMM2 += u.AreaMM2
		}
	}
	return nil
}

// Against sets what each member, and the fund ("") was charged for the kit
// before, and so the adjustments. Who was charged but has no share gets a line
// that gives it all back.
func (c Closing) Against(provisional map[string]int64) Closing {
	c.Shares = slices.Clone(c.Shares)
	for member, amount := range provisional {
		if amount != 0 && !slices.ContainsFunc(c.Shares, func(s Share) bool { return s.Member == member }) {
			c.Shares = append(c.Shares, Share{Member: member})
		}
	}
	for i := range c.Shares {
		s := &c.Shares[i]
		s.Provisional = provisional[s.Member]
		s.Adjustment = s.Total - s.Provisional
	}
	c.sort()
	return c
}

// sort puts the shares in the order of the members' ids, the fund's last.
func (c *Closing) sort() {
	slices.SortFunc(c.Shares, func(a, b Share) int { return compareParties(a.Member, b.Member) })
}

// compareParties orders member ids, with the fund ("") after all of them.
func compareParties(a, b string) int {
	switch {
	case a == b:
		return 0
	case a == "":
		return 1
	case b == "":
		return -1
	default:
		return strings.Compare(a, b)
	}
}
