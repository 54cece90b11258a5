package chemistry_test

import (
	"errors"
	"testing"
	"time"

	"wetside/chemistry"
	"wetside/lab/units"
)

// reversalKit is a kit for the three-bath process: two portions of a litre,
// eight rolls each.
func reversalKit() chemistry.NewKit {
	area := int64(8 * chemistry.RollEquivalentMM2)
	k := chemistry.NewKit{
		Name: "Reversal kit, 2 × 1 L", Process: "reversal-3", Price: units.Money{Amount: 6_400, Currency: "EUR"},
		BoughtOn: "2026-10-30", Portions: 2, Mix: 45 * units.Minute,
		UnopenedUntil: time.Date(2027, 6, 30, 0, 0, 0, 0, time.UTC), OpenedLife: 60 * units.Day,
		RatedAreaMM2: area, ShareRule: chemistry.ByArea, UnusedFallsOn: chemistry.OnUsers,
		Baths: []chemistry.BathDefinition{worn()},
	}
	for _, role := range []string{"colour-developer", "bleach-fix", "stabiliser"} {
		a := area
		k.Baths = append(k.Baths, chemistry.BathDefinition{Role: role, Use: chemistry.Reused, VolumeML: 1_000, AreaMM2: &a, Life: 28 * units.Day})
	}
	return k
}

func TestKitFaults(t *testing.T) {
	t.Parallel()
	type kit = chemistry.NewKit
	if fs := reversalKit().Validate(process(t, "reversal-3"), "EUR"); len(fs) != 0 {
		t.Fatalf("a sound kit: %v", fs)
	}
	for name, c := range map[string]struct {
		change func(*kit)
		at     string
		code   string
	}{
		"no name":                {func(k *kit) { k.Name = "" }, "/name", "length"},
		"for nothing":            {func(k *kit) { k.Price.Amount = 0 }, "/price/amount", "out-of-range"},
		"beyond money":           {func(k *kit) { k.Price.Amount = units.MaxMoney + 1 }, "/price/amount", "out-of-range"},
		"in another currency":    {func(k *kit) { k.Price.Currency = "CHF" }, "/price/currency", "currency"},
		"on no date":             {func(k *kit) { k.BoughtOn = "2026-02-30" }, "/bought_on", "date"},
		"no portions":            {func(k *kit) { k.Portions = 0 }, "/portions", "out-of-range"},
		"mixed for days":         {func(k *kit) { k.Mix = 25 * units.Hour }, "/mix", "out-of-range"},
		"no shelf life":          {func(k *kit) { k.UnopenedUntil = time.Time{} }, "/unopened_until", "out-of-range"},
		"no opened life":         {func(k *kit) { k.OpenedLife = 0 }, "/opened_life", "out-of-range"},
		"rated for nothing":      {func(k *kit) { k.RatedAreaMM2 = 0 }, "/rated_area_mm2", "out-of-range"},
		"an unknown share rule":  {func(k *kit) { k.ShareRule = "by_luck" }, "/share_rule", "unknown"},
		"unused falls on nobody": {func(k *kit) { k.UnusedFallsOn = "nobody" }, "/unused_falls_on", "unknown"},
		"equally among nobody":   {func(k *kit) { k.ShareRule = chemistry.Equally }, "/subscribers", "missing"},
		"a subscriber twice":     {func(k *kit) { k.Subscribers = []string{"m", "m"} }, "/subscribers/1", "twice"},
		"a bath missing":         {func(k *kit) { k.Baths = k.Baths[:3] }, "/baths", "role-missing"},
		"a bath too many": {func(k *kit) {
			k.Baths = append(k.Baths, chemistry.BathDefinition{Role: "stop", Use: chemistry.OneShot, VolumeML: 1, Life: 1})
		}, "/baths/4/role", "role-not-in-process"},
		"a bath twice":               {func(k *kit) { k.Baths = append(k.Baths, k.Baths[3]) }, "/baths/4/role", "twice"},
		"an empty bath":              {func(k *kit) { k.Baths[1].VolumeML = 0 }, "/baths/1/volume_ml", "out-of-range"},
		"used in no known way":       {func(k *kit) { k.Baths[1].Use = "drunk" }, "/baths/1/use", "unknown"},
		"carries nothing":            {func(k *kit) { k.Baths[1].AreaMM2 = ptr[int64](0) }, "/baths/1/area_mm2", "out-of-range"},
		"no runs":                    {func(k *kit) { k.Baths[1].Runs = ptr[int64](0) }, "/baths/1/runs", "out-of-range"},
		"no life":                    {func(k *kit) { k.Baths[1].Life = 0 }, "/baths/1/life", "out-of-range"},
		"carries nothing at once":    {func(k *kit) { k.Baths[1].RunMM2PerL = ptr[int64](-1) }, "/baths/1/run_mm2_per_l", "out-of-range"},
		"a table that starts late":   {func(k *kit) { k.Baths[0].Correction[0].MM2PerL = 1 }, "/baths/0/correction/0/mm2_per_l", "first-point"},
		"a table that falls":         {func(k *kit) { k.Baths[0].Correction[2].Permille = 1_049 }, "/baths/0/correction/2", "order"},
		"a table that stands still":  {func(k *kit) { k.Baths[0].Correction[2].MM2PerL = k.Baths[0].Correction[1].MM2PerL }, "/baths/0/correction/2", "order"},
		"a one-shot bath that wears": {func(k *kit) { k.Baths[0].Use = chemistry.OneShot }, "/baths/0/correction", "not-reused"},
		"replenished by nothing":     {func(k *kit) { k.Baths[1].Use = chemistry.Replenished }, "/baths/1/replenish_ml_per_m2", "replenished"},
		"topped up though it is not": {func(k *kit) { k.Baths[1].ReplenishMLPerM2 = ptr[int64](20) }, "/baths/1/replenish_ml_per_m2", "replenished"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			k := reversalKit()
			c.change(&k)
			if fs := k.Validate(process(t, "reversal-3"), "EUR"); len(fs) != 1 || fs[0].Pointer != c.at || fs[0].Code != c.code {
				t.Errorf("%v, want %s at %s", fs, c.code, c.at)
			}
		})
	}
}

func TestMixable(t *testing.T) {
	t.Parallel()
	shelf := time.Date(2027, 6, 30, 0, 0, 0, 0, time.UTC)
	kit := chemistry.Kit{Portions: 2, PortionsLeft: 1, UnopenedUntil: shelf, OpenedLife: 60 * units.Day}
	for _, c := range []struct {
		behaviour string
		change    func(*chemistry.Kit)
		at        time.Time
		fault     string
	}{
		{"unopened to the last instant", func(*chemistry.Kit) {}, shelf, ""},
		{"and not after", func(*chemistry.Kit) {}, shelf.Add(time.Second), "kit-expired"},
		{"opened, for its opened life", func(k *chemistry.Kit) { k.OpenedAt = &mixed }, mixed.AddDate(0, 0, 60), ""},
		{"and not after", func(k *chemistry.Kit) { k.OpenedAt = &mixed }, mixed.AddDate(0, 0, 60).Add(time.Second), "kit-expired"},
		{"opening does not lengthen the shelf life", func(k *chemistry.Kit) { k.OpenedAt = ptr(shelf.Add(-time.Hour)) }, shelf.Add(time.Second), "kit-expired"},
		{"no portion left", func(k *chemistry.Kit) { k.PortionsLeft = 0 }, mixed, "kit-spent"},
		{"closed", func(k *chemistry.Kit) { k.ClosedAt = &mixed }, mixed, "kit-closed"},
	} {
		k := kit
		c.change(&k)
		err := k.Mixable(c.at)
		var f chemistry.Fault
		errors.As(err, &f)
		if f.Code != c.fault || (err != nil) != (c.fault != "") {
			t.Errorf("%s: %v, want %q", c.behaviour, err, c.fault)
		}
	}
}
