package lab_test

import (
	"bytes"
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/deploy/testdb"
	"wetside/lab"
)

// inTx runs f in a transaction that is rolled back.
func inTx(t *testing.T, f func(ctx context.Context, tx pgx.Tx)) {
	t.Helper()
	tx, err := testdb.New(t).Begin(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = tx.Rollback(context.WithoutCancel(t.Context())) }()
	f(t.Context(), tx)
}

var monday = time.Date(2026, 11, 30, 9, 0, 0, 0, time.UTC)

func found(t *testing.T, ctx context.Context, tx pgx.Tx) lab.Founding {
	t.Helper()
	f, err := lab.Found(ctx, tx, lab.NewLab{Name: "Sallowmere Film Co-op", TimeZone: "Europe/Lisbon", Currency: "EUR", Keeper: "Ines Tarrow"},
		monday, monday, bytes.NewReader(bytes.Repeat([]byte{0x5a}, 16)))
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func TestFoundingTellsAllFaultsAtOnce(t *testing.T) {
	t.Parallel()
	inTx(t, func(ctx context.Context, tx pgx.Tx) {
		negative := int64(-1)
		_, err := lab.Found(ctx, tx, lab.NewLab{Name: strings.Repeat("é", 201), TimeZone: "Europe/Lisbon", Currency: "eur", Keeper: " ",
			DevelopingTolerancePermille: &negative}, monday, monday, nil)
		var r *lab.Refusal
		if !errors.As(err, &r) || r.Kind != lab.Invalid || len(r.Faults) != 4 {
			t.Errorf("refused with %v", err)
		}
	})
}

func TestFoundingGivesTheKeeperEveryRole(t *testing.T) {
	t.Parallel()
	inTx(t, func(ctx context.Context, tx pgx.Tx) {
		f := found(t, ctx, tx)
		if !f.Keeper.Has(lab.RoleKeeper) || len(f.Keeper.Roles) != 4 || f.Lab.CreatedAt != monday || f.Lab.Location().String() != "Europe/Lisbon" {
			t.Errorf("founded %+v", f)
		}
		if want := "b9d5mp-jtb9d5m-pjtb9d5-mpjtb8"; f.SignIn.Code != want {
			t.Errorf("code is %q, want %q", f.SignIn.Code, want)
		}
		r, ok, err := lab.Redeem(ctx, tx, strings.ReplaceAll(strings.ReplaceAll(f.SignIn.Code, "1", "L"), "0", "O"), monday.Add(time.Hour))
		if err != nil || !ok || r.Lab.ID != f.Lab.ID || r.Member.ID != f.Keeper.ID || r.Mailed {
			t.Errorf("redeemed %+v %v %v", r, ok, err)
		}
	})
}

func TestAStaleVersionChangesNothing(t *testing.T) {
	t.Parallel()
	inTx(t, func(ctx context.Context, tx pgx.Tx) {
		f := found(t, ctx, tx)
		s := lab.Scope{Lab: f.Lab, By: f.Keeper, Now: monday}
		c, err := lab.AddCabinet(ctx, tx, s, lab.NewCabinet{Name: "Loft", Positions: 4, DropMM: 1700, Drying: 3600})
		if err != nil {
			t.Fatal(err)
		}
		broken := true
		if _, err := lab.ChangeCabinet(ctx, tx, s, c.ID, c.Version+1, lab.CabinetChange{OutOfOrder: &broken}); lab.RefusalCode(err) != "stale" {
			t.Errorf("changed with %v", err)
		}
		name := "Other"
		if _, err := lab.Change(ctx, tx, s, f.Lab.Version+1, lab.Settings{Name: &name}); lab.RefusalCode(err) != "stale" {
			t.Errorf("changed with %v", err)
		}
		if _, err := lab.ChangeTank(ctx, tx, s, "tank_x", 1, lab.TankChange{}); lab.RefusalCode(err) != "not-found" {
			t.Errorf("changed with %v", err)
		}
		if got, err := lab.FindCabinet(ctx, tx, f.Lab.ID, c.ID); err != nil || got != c {
			t.Errorf("cabinet is %+v, %v", got, err)
		}
	})
}

func TestCutSaysWhetherMoreFollows(t *testing.T) {
	t.Parallel()
	key := func(s string) string { return s }
	for _, row := range []struct {
		items []string
		next  string
		kept  int
	}{
		{nil, "", 0}, {[]string{"a"}, "", 1}, {[]string{"a", "b"}, "", 2}, {[]string{"a", "b", "c"}, "b", 2},
	} {
		if got := lab.Cut(row.items, lab.Page{Limit: 2}, key); got.NextCursor != row.next || len(got.Items) != row.kept {
			t.Errorf("%v: %+v", row.items, got)
		}
	}
}
