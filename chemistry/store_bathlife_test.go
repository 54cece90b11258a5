package chemistry_test

import (
	"context"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
)

// does runs what gives a bath, and returns it.
func (b *bench) does(f func(context.Context, pgx.Tx) (chemistry.Bath, error)) (out chemistry.Bath) {
	b.t.Helper()
	b.do(func(ctx context.Context, tx pgx.Tx) (err error) {
		out, err = f(ctx, tx)
		return err
	})
	return out
}

// openSets is how many sets a run may use.
func (b *bench) openSets() (n int) {
	b.t.Helper()
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		sets, err := chemistry.OpenBathSets(ctx, tx, "lab_a", mixed)
		n = len(sets)
		return err
	})
	return n
}

func TestQuarantine(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	set := b.mix(b.scope, b.buy(func(*chemistry.NewKit) {}).ID)
	bath := set.Baths[0].ID
	keep := func(version int64, because string) func(context.Context, pgx.Tx) (chemistry.Bath, error) {
		return func(ctx context.Context, tx pgx.Tx) (chemistry.Bath, error) {
			return chemistry.QuarantineBath(ctx, tx, b.later(day), bath, version, chemistry.Because{Because: because})
		}
	}
	release := func(version int64) func(context.Context, pgx.Tx) (chemistry.Bath, error) {
		return func(ctx context.Context, tx pgx.Tx) (chemistry.Bath, error) {
			return chemistry.ReleaseBath(ctx, tx, b.later(2*day), bath, version, chemistry.Because{Because: "a new strip is fine"})
		}
	}
	no := func(code string, f func(context.Context, pgx.Tx) (chemistry.Bath, error)) {
		t.Helper()
		b.refused(code, func(ctx context.Context, tx pgx.Tx) error { _, err := f(ctx, tx); return err })
	}
	no("invalid", keep(1, ""))
	no("stale", keep(2, "strip is off"))
	no("bath-not-quarantined", release(1))
	before := b.scheduleVersion()
	got := b.does(keep(1, "strip is off"))
	if got.State != chemistry.Quarantined || got.Quarantine.Because != "strip is off" || got.Quarantine.By != "mem_ana" || got.Revision() != 2 || b.openSets() != 0 || b.scheduleVersion() == before {
		t.Errorf("%+v, %d open sets", got, b.openSets())
	}
	no("bath-quarantined", keep(2, "again"))

	b.do(b.using(b.later(day), use(set, mixed.Add(time.Hour)))) // said late, but run before
	if r := b.refused("bath-quarantined", b.using(b.later(2*day), use(set, mixed.Add(day)))); r.Faults[0].Code != "quarantined" {
		t.Errorf("%+v", r.Faults)
	}
	all := use(set, mixed.Add(day))
	all.Override = true
	if against := fresh(b, set.ID).Against(all); len(against) != 1 || against[0].Code != "quarantined" {
		t.Errorf("the run is against %+v", against)
	}
	b.do(b.using(b.later(2*day), all))
	if got := b.does(release(4)); got.State != chemistry.Good || got.Quarantine != nil || got.UsedRuns != 2 || b.openSets() != 1 {
		t.Errorf("released: %+v", got)
	}
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		kept, err := chemistry.QuarantinesOf(ctx, tx, "lab_a", []string{bath})
		if err == nil && (len(kept) != 1 || *kept[0].LiftedBecause != "a new strip is fine" || *kept[0].LiftedBy != "mem_ana") {
			t.Errorf("%+v", kept)
		}
		return err
	})
}

// fresh is a set as it is now.
func fresh(b *bench, id string) (set chemistry.BathSet) {
	b.do(func(ctx context.Context, tx pgx.Tx) (err error) {
		set, err = chemistry.FindBathSet(ctx, tx, "lab_a", id, b.scope.Now.Add(day))
		return err
	})
	return set
}

// An override is for the dead and the kept; what is more than is left, or was
// not mixed yet, stays refused.
func TestAnOverrideLetsThroughNoMore(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	set := b.mix(b.scope, b.buy(func(*chemistry.NewKit) {}).ID)
	late := use(set, mixed.Add(40*day))
	b.refused("bath-dead", b.using(b.later(40*day), late))
	late.Override = true
	b.do(b.using(b.later(40*day), late))
	early := use(set, mixed.Add(-time.Second))
	early.Override = true
	b.refused("bath-dead", b.using(b.later(day), early))
	late.AreaMM2 = 8 * chemistry.RollEquivalentMM2
	b.refused("bath-exhausted", b.using(b.later(41*day), late))
}

func TestBottlingABathAnew(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	kit := b.buy(func(*chemistry.NewKit) {})
	half := chemistry.Storage{FullPermille: 500, Seal: chemistry.Airtight}
	var set chemistry.BathSet
	b.do(func(ctx context.Context, tx pgx.Tx) (err error) {
		set, err = chemistry.MixKit(ctx, tx, b.scope, chemistry.NewMix{Kit: kit.ID, Storage: &half})
		return err
	})
	dev, fix := set.Baths[0], set.Baths[2]
	if !dev.ExpiresAt.Equal(mixed.Add(7*day)) || !fix.ExpiresAt.Equal(mixed.Add(28*day)) || *dev.Storage != half {
		t.Errorf("half full: developer until %s, bleach-fix until %s", dev.ExpiresAt, fix.ExpiresAt)
	}
	store := func(version int64, s chemistry.Storage) func(context.Context, pgx.Tx) (chemistry.Bath, error) {
		return func(ctx context.Context, tx pgx.Tx) (chemistry.Bath, error) {
			return chemistry.StoreBath(ctx, tx, b.later(3*day), dev.ID, version, s)
		}
	}
	got := b.does(store(1, chemistry.Storage{FullPermille: 500, Seal: chemistry.Displaced}))
	if !got.ExpiresAt.Equal(mixed.Add(11 * day)) { // four days left, at half the pace
		t.Errorf("squeezed, until %s", got.ExpiresAt)
	}
	b.refused("invalid", func(ctx context.Context, tx pgx.Tx) error {
		_, err := store(2, chemistry.Storage{FullPermille: 1001, Seal: "corked"})(ctx, tx)
		return err
	})
	other := b.buy(func(*chemistry.NewKit) {})
	b.refused("two-kits", func(ctx context.Context, tx pgx.Tx) error {
		_, err := chemistry.MixKit(ctx, tx, b.scope, chemistry.NewMix{Kit: kit.ID, TogetherWith: []string{other.ID}})
		return err
	})
}

func TestToppingUp(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	kit := b.buy(func(k *chemistry.NewKit) {
		k.Baths[1] = chemistry.BathDefinition{Role: "colour-developer", Use: chemistry.Replenished, VolumeML: 1_000, Life: k.Baths[1].Life, ReplenishMLPerM2: ptr[int64](860)}
	})
	set := b.mix(b.scope, kit.ID)
	b.do(b.using(b.later(day), use(set, mixed.Add(time.Hour))))
	top := func(bath string, in chemistry.NewTopUp) func(context.Context, pgx.Tx) error {
		return func(ctx context.Context, tx pgx.Tx) error {
			_, err := chemistry.TopUpBath(ctx, tx, b.later(day), bath, in)
			return err
		}
	}
	dev := set.Baths[1].ID
	due := func() int64 { return fresh(b, set.ID).Baths[1].ReplenisherDueML }
	if due() != 45 { // 860 mL/m² of a roll of 0.0516 m²
		t.Errorf("%d mL due after a roll", due())
	}
	b.refused("invalid", top(set.Baths[2].ID, chemistry.NewTopUp{VolumeML: 45}))
	b.refused("invalid", top(dev, chemistry.NewTopUp{VolumeML: 0}))
	b.refused("two-kits", top(dev, chemistry.NewTopUp{VolumeML: 45, Kit: "kit_other"}))
	b.do(top(dev, chemistry.NewTopUp{VolumeML: 30, Kit: kit.ID, Note: "first"}))
	if due() != 15 {
		t.Errorf("%d mL due after 30", due())
	}
	b.scope.Now = b.scope.Now.Add(time.Minute)
	b.do(top(dev, chemistry.NewTopUp{VolumeML: 15}))
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		l, err := chemistry.ListTopUps(ctx, tx, b.scope, dev, lab.Page{Limit: 5})
		if err == nil && (len(l.Items) != 2 || l.Items[0].VolumeML != 30 || l.Items[0].Note != "first" || l.Items[0].MadeBy != "mem_ana") {
			t.Errorf("%+v", l.Items)
		}
		return err
	})
	if got := fresh(b, set.ID).Baths[1]; due() != 0 || got.ToppedUpML != 45 || got.VolumeLeftML != 1_000 {
		t.Errorf("%+v", got)
	}
	b.refused("bath-dead", func(ctx context.Context, tx pgx.Tx) error {
		_, err := chemistry.TopUpBath(ctx, tx, b.later(60*day), dev, chemistry.NewTopUp{VolumeML: 10})
		return err
	})
}

func TestWasteIsLoggedAndSummedByMonth(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	set := b.mix(b.scope, b.buy(func(*chemistry.NewKit) {}).ID)
	throw := func(at time.Duration, n int, d chemistry.Disposal) {
		b.do(func(ctx context.Context, tx pgx.Tx) error {
			_, err := chemistry.DiscardBath(ctx, tx, b.later(at), set.Baths[n].ID, 1, d)
			return err
		})
	}
	b.refused("invalid", func(ctx context.Context, tx pgx.Tx) error {
		_, err := chemistry.DiscardBath(ctx, tx, b.scope, set.Baths[0].ID, 1, chemistry.Disposal{To: "sewer", VolumeML: ptr[int64](1_001)})
		return err
	})
	throw(day, 0, chemistry.Disposal{To: "county"})
	throw(2*day, 2, chemistry.Disposal{To: "county", VolumeML: ptr[int64](900), Note: "some was spilt"})
	throw(40*day, 3, chemistry.Disposal{To: "county"})
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		_, err := chemistry.LogWaste(ctx, tx, b.later(2*day), chemistry.NewWaste{Kind: chemistry.SilverBearing, VolumeML: 100, To: "county"})
		return err
	})
	b.refused("invalid", func(ctx context.Context, tx pgx.Tx) error {
		_, err := chemistry.LogWaste(ctx, tx, b.scope, chemistry.NewWaste{Kind: "soup", VolumeML: 1, To: "county"})
		return err
	})
	first, next := mixed.Format("2006-01"), mixed.Add(40*day).Format("2006-01")
	for _, c := range []struct {
		from, until *time.Time
		want        []chemistry.WasteTotal
	}{
		{nil, nil, []chemistry.WasteTotal{{first, chemistry.DeveloperWaste, "county", 1000, 1}, {first, chemistry.SilverBearing, "county", 1000, 2}, {next, chemistry.SilverBearing, "county", 1000, 1}}},
		{ptr(mixed.Add(40 * day)), nil, []chemistry.WasteTotal{{next, chemistry.SilverBearing, "county", 1000, 1}}},
		{nil, &mixed, []chemistry.WasteTotal{{first, chemistry.DeveloperWaste, "county", 1000, 1}, {first, chemistry.SilverBearing, "county", 1000, 2}}},
	} {
		b.do(func(ctx context.Context, tx pgx.Tx) error {
			got, err := chemistry.WasteTotals(ctx, tx, b.scope.Lab, c.from, c.until)
			same(t, got, c.want)
			return err
		})
	}
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		l, err := chemistry.ListWaste(ctx, tx, "lab_a", lab.Page{Limit: 2})
		if err == nil && (len(l.Items) != 2 || l.NextCursor == "" || l.Items[0].Bath != set.Baths[0].ID) {
			t.Errorf("%+v", l)
		}
		return err
	})
}
