package chemistry_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
)

const day = 24 * time.Hour

func TestMixAPortion(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	kit := b.buy(func(*chemistry.NewKit) {})
	before := b.scheduleVersion()
	set := b.mix(b.scope, kit.ID)
	if set.Kit != kit.ID || set.Process != "reversal-3" || set.MixedBy != "mem_ana" || !set.MixedAt.Equal(mixed) {
		t.Errorf("%+v", set)
	}
	if b.scheduleVersion() != before+1 {
		t.Error("plans made before do not know of it")
	}
	for i, want := range kit.Baths {
		bath := set.Baths[i]
		same(t, bath.BathDefinition, want)
		if !bath.ExpiresAt.Equal(mixed.Add(want.Life.Std())) || bath.State != chemistry.Good || bath.VolumeLeftML != 1_000 ||
			*bath.AreaLeftMM2 != 8*chemistry.RollEquivalentMM2 || bath.AreaRule != "trade" || bath.BathSet != set.ID ||
			bath.Cautions[len(bath.Cautions)-1] != chemistry.SafetyFirst {
			t.Errorf("%+v", bath)
		}
	}
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		k, err := chemistry.FindKit(ctx, tx, "lab_a", kit.ID)
		if err == nil && (k.PortionsLeft != 1 || !k.OpenedAt.Equal(mixed) || k.Version != 2) {
			t.Errorf("%+v", k)
		}
		return err
	})
	b.mix(b.later(time.Hour), kit.ID)
	b.refused("kit-spent", mixing(b.later(2*time.Hour), kit.ID, nil))
}

func mixing(s lab.Scope, kit string, at *time.Time) func(context.Context, pgx.Tx) error {
	return func(ctx context.Context, tx pgx.Tx) error {
		_, err := chemistry.MixKit(ctx, tx, s, chemistry.NewMix{Kit: kit, MixedAt: at})
		return err
	}
}

func TestWhenAKitMayBeMixed(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	kit := b.buy(func(k *chemistry.NewKit) { k.Portions = 3 })
	b.refused("not-found", mixing(b.scope, "kit_none", nil))
	if r := b.refused("invalid", mixing(b.scope, kit.ID, ptr(mixed.Add(time.Second)))); r.Faults[0].Code != "in-the-future" {
		t.Errorf("%+v", r.Faults)
	}
	// Lisbon is on UTC in winter and an hour ahead until 25 October 2026.
	bought := time.Date(2026, 10, 30, 0, 0, 0, 0, time.UTC)
	if r := b.refused("invalid", mixing(b.scope, kit.ID, ptr(bought.Add(-time.Second)))); r.Faults[0].Code != "before-purchase" {
		t.Errorf("%+v", r.Faults)
	}
	b.do(mixing(b.scope, kit.ID, &mixed))
	b.do(mixing(b.scope, kit.ID, &bought)) // entered late: the kit was opened by then
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		k, err := chemistry.FindKit(ctx, tx, "lab_a", kit.ID)
		if err == nil && !k.OpenedAt.Equal(bought) {
			t.Errorf("opened at %s", k.OpenedAt)
		}
		return err
	})
	over := lab.Scope{Lab: b.scope.Lab, By: b.scope.By, Now: bought.Add(60*day + time.Second)}
	b.refused("kit-expired", mixing(over, kit.ID, nil))
	b.do(mixing(over, kit.ID, ptr(bought.Add(60*day)))) // said late, but mixed in time
}

// use is a run of a roll and a half litre whose steps all begin at an instant.
func use(set chemistry.BathSet, at time.Time) chemistry.Use {
	u := chemistry.Use{BathSet: set.ID, Load: chemistry.Load{AreaMM2: chemistry.RollEquivalentMM2, SolutionML: 500}, Begins: map[string]time.Time{}}
	for _, b := range set.Baths {
		u.Begins[b.Role] = at
	}
	return u
}

func (b *bench) using(s lab.Scope, u chemistry.Use) func(context.Context, pgx.Tx) error {
	return func(ctx context.Context, tx pgx.Tx) error {
		_, err := chemistry.UseBaths(ctx, tx, s, u)
		return err
	}
}

func TestARunWearsItsBaths(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	kit := b.buy(func(k *chemistry.NewKit) {
		k.Baths[3] = chemistry.BathDefinition{Role: "stabiliser", Use: chemistry.OneShot, VolumeML: 1_200, Life: k.Baths[3].Life}
		k.Baths[2].Runs = ptr[int64](3)
	})
	set := b.mix(b.scope, kit.ID)
	before := b.scheduleVersion()
	b.do(b.using(b.later(day), use(set, mixed.Add(day))))
	only := use(set, mixed.Add(day))
	delete(only.Begins, "stabiliser")
	b.do(b.using(b.later(day), only))
	if got := b.scheduleVersion(); got != before+2 {
		t.Errorf("touched %d times", got-before)
	}
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		got, err := chemistry.FindBathSet(ctx, tx, "lab_a", set.ID, mixed.Add(day))
		if err != nil {
			return err
		}
		dev, fix, stab := got.Baths[0], got.Baths[2], got.Baths[3]
		if dev.UsedAreaMM2 != 2*chemistry.RollEquivalentMM2 || dev.UsedRuns != 2 || dev.VolumeLeftML != 1_000 || dev.Revision() != 3 ||
			*dev.AreaLeftMM2 != 6*chemistry.RollEquivalentMM2 || dev.BindsFirst != chemistry.LimitArea {
			t.Errorf("first developer %+v", dev)
		}
		if *fix.RunsLeft != 1 || fix.BindsFirst != chemistry.LimitRuns {
			t.Errorf("bleach-fix %+v", fix)
		}
		if stab.UsedRuns != 1 || stab.VolumeLeftML != 700 || stab.AreaLeftMM2 != nil {
			t.Errorf("stabiliser %+v", stab)
		}
		factors, err := got.Factors()
		if f := factors["first-developer"]; len(factors) != 1 || f.Permille != 1050 {
			t.Errorf("%+v", factors)
		}
		return err
	})
}

func TestRunsThatBathsDoNotCarry(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	kit := b.buy(func(k *chemistry.NewKit) {
		k.Baths[3] = chemistry.BathDefinition{Role: "stabiliser", Use: chemistry.OneShot, VolumeML: 900, Life: k.Baths[3].Life}
		k.Baths[2].RunMM2PerL = ptr[int64](4 * chemistry.RollEquivalentMM2)
	})
	set := b.mix(b.scope, kit.ID)
	s := b.later(30 * day)
	b.do(b.using(s, use(set, mixed.Add(time.Hour))))
	for name, c := range map[string]struct {
		change  func(*chemistry.Use)
		code    string
		faults  []string
		ofBaths []int
	}{
		"the stabiliser is poured away": {func(*chemistry.Use) {}, "bath-exhausted", []string{"volume-left"}, []int{3}},
		"more film at once than the bleach-fix takes": {func(u *chemistry.Use) { u.AreaMM2, u.SolutionML = 5*chemistry.RollEquivalentMM2, 400 },
			"bath-exhausted", []string{"run-load"}, []int{2}},
		"more film than is left": {func(u *chemistry.Use) {
			u.AreaMM2, u.SolutionML = 8*chemistry.RollEquivalentMM2, 400
			delete(u.Begins, "bleach-fix")
		}, "bath-exhausted", []string{"area-left", "area-left"}, []int{0, 1}},
		"a step after the bath's life": {func(u *chemistry.Use) { u.Begins["first-developer"] = mixed.Add(14*day + time.Second) },
			"bath-dead", []string{"expired"}, []int{0}},
		"a step before the bath was mixed": {func(u *chemistry.Use) { u.Begins["colour-developer"] = mixed.Add(-time.Second) },
			"bath-dead", []string{"not-yet-mixed"}, []int{1}},
		"a bath that is not there": {func(u *chemistry.Use) { u.Begins["fixer"] = mixed }, "bath-dead", []string{"no-such-bath"}, []int{-1}},
		"a set that is not there":  {func(u *chemistry.Use) { u.BathSet = "set_none" }, "not-found", nil, nil},
	} {
		u := use(set, mixed.Add(2*time.Hour))
		c.change(&u)
		r := b.refused(c.code, b.using(s, u))
		var codes []string
		for i, f := range r.Faults {
			codes = append(codes, f.Code)
			if of := c.ofBaths[i]; of >= 0 && !strings.Contains(f.Detail, set.Baths[of].ID) {
				t.Errorf("%s: %q does not name bath %s", name, f.Detail, set.Baths[of].ID)
			}
		}
		same(t, codes, c.faults)
	}
	// The very last instant and the very last mm².
	u := use(set, mixed.Add(14*day))
	u.AreaMM2, u.SolutionML = 7*chemistry.RollEquivalentMM2, 400
	delete(u.Begins, "bleach-fix")
	b.do(b.using(s, u))
}

func TestDiscardABath(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	kit := b.buy(func(*chemistry.NewKit) {})
	set := b.mix(b.scope, kit.ID)
	bath := set.Baths[2]
	discard := func(id string, version int64, to string) func(context.Context, pgx.Tx) error {
		return func(ctx context.Context, tx pgx.Tx) error {
			got, err := chemistry.DiscardBath(ctx, tx, b.later(day), id, version, chemistry.Disposal{To: to})
			if err == nil && (got.State != chemistry.Discarded || got.DiscardedTo != to || !got.DiscardedAt.Equal(mixed.Add(day)) || got.Revision() != 2) {
				t.Errorf("%+v", got)
			}
			return err
		}
	}
	open := func() (n int) {
		b.do(func(ctx context.Context, tx pgx.Tx) error {
			sets, err := chemistry.OpenBathSets(ctx, tx, "lab_a", mixed)
			n = len(sets)
			return err
		})
		return n
	}
	b.refused("invalid", discard(bath.ID, 1, ""))
	b.refused("not-found", discard("bath_none", 1, "silver recovery"))
	b.refused("stale", discard(bath.ID, 2, "silver recovery"))
	if open() != 1 {
		t.Error("the set is open until then")
	}
	b.do(discard(bath.ID, 1, "silver recovery"))
	if open() != 0 {
		t.Error("a set that lacks a bath is not open")
	}
	b.refused("bath-dead", discard(bath.ID, 2, "silver recovery"))
	b.do(b.using(b.later(2*day), use(set, mixed.Add(day)))) // said late, but run while it was there
	if r := b.refused("bath-dead", b.using(b.later(2*day), use(set, mixed.Add(day+time.Second)))); r.Faults[0].Code != "discarded" {
		t.Errorf("%+v", r.Faults)
	}
	b.refused("not-found", func(ctx context.Context, tx pgx.Tx) error {
		_, err := chemistry.FindBath(ctx, tx, "lab_b", bath.ID, mixed)
		return err
	})
}

func TestAClosedKitsBathsAreNotUsed(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	kit := b.buy(func(*chemistry.NewKit) {})
	set := b.mix(b.scope, kit.ID)
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		_, err := chemistry.MarkKitClosed(ctx, tx, b.scope, kit.ID, chemistry.UsedUp)
		return err
	})
	b.refused("kit-closed", b.using(b.scope, use(set, mixed)))
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		sets, err := chemistry.OpenBathSets(ctx, tx, "lab_a", mixed)
		if len(sets) != 0 {
			t.Errorf("%d sets are open", len(sets))
		}
		return err
	})
}

func TestListBathSetsByPage(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	kit := b.buy(func(k *chemistry.NewKit) { k.Portions = 3 })
	want := []string{b.mix(b.scope, kit.ID).ID, b.mix(b.later(time.Hour), kit.ID).ID, b.mix(b.later(2*time.Hour), kit.ID).ID}
	var got []string
	for page := (lab.Page{Limit: 2}); ; {
		var list lab.List[chemistry.BathSet]
		b.do(func(ctx context.Context, tx pgx.Tx) (err error) {
			list, err = chemistry.ListBathSets(ctx, tx, "lab_a", mixed, page)
			return err
		})
		for _, s := range list.Items {
			if len(s.Baths) != 4 || s.Baths[0].Role != "first-developer" || s.Baths[3].Role != "stabiliser" {
				t.Errorf("baths of %s: %+v", s.ID, s.Baths)
			}
			got = append(got, s.ID)
		}
		if page.After = list.NextCursor; page.After == "" {
			break
		}
	}
	same(t, got, want)
}

// Of two who would take the last of a bath at once, one has it.
func TestTheLastOfABathIsTakenOnce(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	kit := b.buy(func(*chemistry.NewKit) {})
	set := b.mix(b.scope, kit.ID)
	u := use(set, mixed)
	u.AreaMM2 = 5 * chemistry.RollEquivalentMM2
	errs := make(chan error)
	for range 4 {
		go func() { errs <- b.in(b.using(b.scope, u)) }()
	}
	done, exhausted := 0, 0
	for range 4 {
		switch err := <-errs; {
		case err == nil:
			done++
		case lab.RefusalCode(err) == "bath-exhausted":
			exhausted++
		default:
			t.Error(err)
		}
	}
	if done != 1 || exhausted != 3 {
		t.Errorf("%d runs made, %d refused", done, exhausted)
	}
}
