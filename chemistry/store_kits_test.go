package chemistry_test

import (
	"context"
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
	"wetside/lab/units"
)

func same(t *testing.T, got, want any) {
	t.Helper()
	if diff := cmp.Diff(want, got, cmpopts.EquateEmpty()); diff != "" {
		t.Errorf("want (-), got (+):\n%s", diff)
	}
}

func TestBuyAKit(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	before := b.scheduleVersion()
	kit := b.buy(func(k *chemistry.NewKit) { k.BoughtBy, k.Subscribers = "mem_bo", []string{"mem_ana", "mem_bo"} })
	want := reversalKit()
	same(t, kit, chemistry.Kit{
		ID: kit.ID, Name: want.Name, Process: "reversal-3", Price: units.Money{Amount: 6_400, Currency: "EUR"},
		BoughtBy: "mem_bo", BoughtOn: "2026-10-30", Portions: 2, PortionsLeft: 2, Mix: want.Mix,
		UnopenedUntil: want.UnopenedUntil, OpenedLife: want.OpenedLife, RatedAreaMM2: want.RatedAreaMM2, Baths: want.Baths,
		ShareRule: chemistry.ByArea, UnusedFallsOn: chemistry.OnUsers, Subscribers: []string{"mem_ana", "mem_bo"},
		CreatedAt: mixed, Version: 1,
	})
	if b.scheduleVersion() != before+1 {
		t.Error("plans made before do not know of it")
	}
	if fund := b.buy(func(*chemistry.NewKit) {}); fund.BoughtBy != "" {
		t.Errorf("bought by the fund, not %q", fund.BoughtBy)
	}
	body, err := json.Marshal(b.buy(func(*chemistry.NewKit) {}))
	if err != nil {
		t.Fatal(err)
	}
	var fields map[string]any
	if err := json.Unmarshal(body, &fields); err != nil {
		t.Fatal(err)
	}
	if fields["subscribers"] == nil || fields["opened_life"] != "PT1440H" || fields["bought_by"] != nil || fields["version"] != nil {
		t.Errorf("%s", body)
	}
}

func TestKitsThatAreRefused(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	for name, c := range map[string]struct {
		change func(*chemistry.NewKit)
		at     string
	}{
		"for no process":            {func(k *chemistry.NewKit) { k.Process = "k-14" }, "/process"},
		"bought by a stranger":      {func(k *chemistry.NewKit) { k.BoughtBy = "mem_far" }, "/bought_by"},
		"bought by one who left":    {func(k *chemistry.NewKit) { k.BoughtBy = "mem_gone" }, "/bought_by"},
		"subscribed by a stranger":  {func(k *chemistry.NewKit) { k.Subscribers = []string{"mem_bo", "mem_far"} }, "/subscribers/1"},
		"subscribed by nobody":      {func(k *chemistry.NewKit) { k.Subscribers = []string{""} }, "/subscribers/0"},
		"with another lab's prices": {func(k *chemistry.NewKit) { k.Price.Currency = "USD" }, "/price/currency"},
	} {
		k := reversalKit()
		c.change(&k)
		r := b.refused("invalid", func(ctx context.Context, tx pgx.Tx) error {
			_, err := chemistry.AddKit(ctx, tx, b.scope, k)
			return err
		})
		if len(r.Faults) != 1 || r.Faults[0].Pointer != c.at {
			t.Errorf("%s: %+v, want one fault at %s", name, r.Faults, c.at)
		}
	}
}

func TestListKitsByPage(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	names := map[string]bool{}
	for i := range 5 {
		names[b.buy(func(k *chemistry.NewKit) { k.Name = fmt.Sprint("kit ", i) }).Name] = true
	}
	page := lab.Page{Limit: 2}
	for pages := 1; ; pages++ {
		var list lab.List[chemistry.Kit]
		b.do(func(ctx context.Context, tx pgx.Tx) (err error) {
			list, err = chemistry.ListKits(ctx, tx, "lab_a", page)
			return err
		})
		for _, k := range list.Items {
			if !names[k.Name] {
				t.Errorf("%s is listed twice, or never was bought", k.Name)
			}
			delete(names, k.Name)
		}
		if page.After = list.NextCursor; page.After == "" {
			if pages != 3 || len(names) != 0 {
				t.Errorf("%d pages, %v left out", pages, names)
			}
			return
		}
	}
}

func TestKitsOnShelf(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	day := 24 * time.Hour
	good := b.buy(func(k *chemistry.NewKit) { k.Name = "good" })
	b.buy(func(k *chemistry.NewKit) { k.Name, k.UnopenedUntil = "soon over", mixed.Add(day) })
	b.buy(func(k *chemistry.NewKit) { k.Name, k.UnopenedUntil = "over", mixed.Add(-time.Second) })
	spent := b.buy(func(k *chemistry.NewKit) { k.Name, k.Portions = "spent", 1 })
	b.mix(b.scope, spent.ID)
	closed := b.buy(func(k *chemistry.NewKit) { k.Name = "closed" })
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		_, err := chemistry.MarkKitClosed(ctx, tx, b.scope, closed.ID, chemistry.ThrownAway)
		return err
	})
	shelf := func(now time.Time) (names []string) {
		b.do(func(ctx context.Context, tx pgx.Tx) error {
			kits, err := chemistry.KitsOnShelf(ctx, tx, "lab_a", now)
			for _, k := range kits {
				names = append(names, k.Name)
			}
			return err
		})
		return names
	}
	same(t, shelf(mixed), []string{"soon over", "good"})
	same(t, shelf(mixed.Add(day)), []string{"soon over", "good"})
	same(t, shelf(mixed.Add(day+time.Second)), []string{"good"})
	b.mix(b.scope, good.ID) // opened: 60 days from now
	same(t, shelf(mixed.Add(60*day)), []string{"good"})
	same(t, shelf(mixed.Add(60*day+time.Second)), []string(nil))
}

func TestCloseAKitOnce(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	kit := b.buy(func(*chemistry.NewKit) {})
	closing := func(id string, because chemistry.ClosedBecause) func(context.Context, pgx.Tx) error {
		return func(ctx context.Context, tx pgx.Tx) error {
			k, err := chemistry.MarkKitClosed(ctx, tx, b.later(time.Hour), id, because)
			if err == nil && (k.ClosedBecause != because || !k.ClosedAt.Equal(mixed.Add(time.Hour)) || k.Version != 2) {
				t.Errorf("%+v", k)
			}
			return err
		}
	}
	b.refused("invalid", closing(kit.ID, "boredom"))
	b.refused("not-found", closing("kit_none", chemistry.UsedUp))
	b.do(closing(kit.ID, chemistry.KitExpired))
	b.refused("kit-closed", closing(kit.ID, chemistry.KitExpired))
	b.refused("kit-closed", func(ctx context.Context, tx pgx.Tx) error {
		_, err := chemistry.MixKit(ctx, tx, b.later(2*time.Hour), chemistry.NewMix{Kit: kit.ID})
		return err
	})
}

func TestAnotherLabsKitIsNotThere(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	kit := b.buy(func(*chemistry.NewKit) {})
	for name, find := range map[string]func(context.Context, pgx.Tx, string, string) (chemistry.Kit, error){
		"find": chemistry.FindKit, "lock": chemistry.LockKit,
	} {
		r := b.refused("not-found", func(ctx context.Context, tx pgx.Tx) error {
			_, err := find(ctx, tx, "lab_b", kit.ID)
			return err
		})
		if r.Kind != lab.NotFound {
			t.Errorf("%s: kind %d", name, r.Kind)
		}
	}
}
