package chemistry

import (
	"fmt"
	"slices"
	"time"

	"wetside/lab/units"
)

// The most that a definition may hold: far beyond any co-op's, and small
// enough that products of two of them keep within 64 bits.
const (
	mostArea     = 10_000_000_000 // 10,000 m²
	mostVolume   = 1_000_000      // a cubic metre
	mostPortions = 1_000
	mostLife     = 20 * 366 * units.Day
	mostPeople   = 500
)

// Validate says what is wrong with a kit for a process, whose code it names;
// nothing if it is sound. Whether its people are members is not looked at.
func (k NewKit) Validate(p Process, currency string) []Fault {
	var fs faults
	fs.text("/name", k.Name, 200)
	fs.between("/price/amount", k.Price.Amount, 1, units.MaxMoney)
	if k.Price.Currency != currency {
		fs.add("/price/currency", "currency", "the lab keeps its books in %s, not %q", currency, k.Price.Currency)
	}
	if _, err := time.Parse(time.DateOnly, k.BoughtOn); err != nil {
		fs.add("/bought_on", "date", "want a date such as 2026-01-31, not %q", k.BoughtOn)
	}
	fs.between("/portions", k.Portions, 1, mostPortions)
	fs.span("/mix", k.Mix, 0, units.Day)
	if k.UnopenedUntil.Year() < 2000 || k.UnopenedUntil.Year() > 2200 {
		fs.add("/unopened_until", "out-of-range", "want an instant from 2000 to 2200")
	}
	fs.span("/opened_life", k.OpenedLife, 1, mostLife)
	fs.between("/rated_area_mm2", k.RatedAreaMM2, 1, mostArea)
	k.checkShares(&fs)
	k.checkBaths(&fs, p)
	return fs
}

func (k NewKit) checkShares(fs *faults) {
	switch k.ShareRule {
	case ByArea, ByRoll, Equally, Weighted:
	default:
		fs.add("/share_rule", "unknown", "want by_area, by_roll, equally or weighted, not %q", k.ShareRule)
	}
	if k.UnusedFallsOn != OnUsers && k.UnusedFallsOn != OnSubscribers && k.UnusedFallsOn != OnFund {
		fs.add("/unused_falls_on", "unknown", "want users, subscribers or fund, not %q", k.UnusedFallsOn)
	}
	among := k.ShareRule == Equally || k.ShareRule == Weighted || k.UnusedFallsOn == OnSubscribers
	if among && len(k.Subscribers) == 0 && !k.SubscribersFollow {
		fs.add("/subscribers", "missing", "somebody has to subscribe to a kit that subscribers share")
	}
	if len(k.Subscribers) > mostPeople {
		fs.add("/subscribers", "length", "want at most %d subscribers", mostPeople)
	}
	for i, s := range k.Subscribers {
		if slices.Contains(k.Subscribers[:i], s) {
			fs.add(fmt.Sprintf("/subscribers/%d", i), "twice", "a member subscribes once")
		}
	}
}

func (k NewKit) checkBaths(fs *faults, p Process) {
	wanted := p.Roles()
	seen := map[string]bool{}
	for i, d := range k.Baths {
		at := fmt.Sprintf("/baths/%d", i)
		switch {
		case !slices.Contains(wanted, d.Role):
			fs.add(at+"/role", "role-not-in-process", "%s has no bath %q", p.Name, d.Role)
		case seen[d.Role]:
			fs.add(at+"/role", "twice", "a portion makes one %s", d.Role)
		}
		seen[d.Role] = true
		d.check(fs, at)
		d.checkConcentrates(fs, at, k.Portions)
	}
	for _, role := range wanted {
		if !seen[role] {
			fs.add("/baths", "role-missing", "%s needs a bath %q", p.Name, role)
		}
	}
}

func (d BathDefinition) check(fs *faults, at string) {
	fs.between(at+"/volume_ml", d.VolumeML, 1, mostVolume)
	fs.optional(at+"/area_mm2", d.AreaMM2, mostArea)
	fs.optional(at+"/runs", d.Runs, 1_000_000)
	fs.span(at+"/life", d.Life, 1, mostLife)
	fs.optional(at+"/run_mm2_per_l", d.RunMM2PerL, mostArea)
	fs.optional(at+"/replenish_ml_per_m2", d.ReplenishMLPerM2, mostVolume)
	if len([]rune(d.Source)) > 500 {
		fs.add(at+"/source", "length", "want at most 500 characters")
	}
	d.Correction.check(fs, at+"/correction")
	d.CorrectionRate.check(fs, at+"/correction_rate")
	d.Limits.check(fs, at+"/limits")
	switch d.Use {
	case Reused, OneShot, Replenished:
	default:
		fs.add(at+"/use", "unknown", "want reused, one_shot or replenished, not %q", d.Use)
	}
	if d.Use != Reused && len(d.Correction) != 0 {
		fs.add(at+"/correction", "not-reused", "only a reused bath slows down: leave the table out")
	}
	if d.Use != Reused && d.CorrectionRate != nil {
		fs.add(at+"/correction_rate", "not-reused", "only a reused bath slows down: leave the rate out")
	}
	if len(d.Correction) != 0 && d.CorrectionRate != nil {
		fs.add(at+"/correction_rate", "two-corrections", "use is corrected for by a table or by a rate, not by both")
	}
	if (d.Use == Replenished) != (d.ReplenishMLPerM2 != nil) {
		fs.add(at+"/replenish_ml_per_m2", "replenished", "a replenished bath says what it is topped up by, and no other does")
	}
	if capacity, ok := d.Capacity(); ok && capacity == 0 && (d.AreaMM2 == nil || *d.AreaMM2 > 0) {
		fs.add(at, "no-capacity", "by its table the %s carries no film at all", d.Role)
	}
}

// span notes a span outside [least, most].
func (fs *faults) span(pointer string, d, least, most units.Duration) {
	if d < least || d > most {
		fs.add(pointer, "out-of-range", "want %s to %s, not %s", least, most, d)
	}
}

// optional notes a number that is there and outside [1, most].
func (fs *faults) optional(pointer string, n *int64, most int64) {
	if n != nil {
		fs.between(pointer, *n, 1, most)
	}
}
