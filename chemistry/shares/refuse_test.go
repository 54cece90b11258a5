package shares_test

import (
	"context"
	"errors"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"wetside/chemistry"
	"wetside/chemistry/shares"
	"wetside/lab"
)

func TestChargeRunOnce(t *testing.T) {
	t.Parallel()
	b := openBooks(t)
	kit := b.buy(b.newKit())
	run := b.run(kit, "done", film{"mem_ann", 1})
	before := b.balances()
	b.refused("run-already-charged", func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		return shares.ChargeRun(ctx, tx, s, shares.Run{
			ID: run, Kit: kit, Rolls: []shares.RollUse{{Roll: "roll_1", Member: "mem_ann", AreaMM2: roll}},
		})
	})
	if diff := cmp.Diff(before, b.balances()); diff != "" {
		t.Errorf("before -, after +:\n%s", diff)
	}
}

func TestCloseKitRefuses(t *testing.T) {
	t.Parallel()
	b := openBooks(t)
	closing := func(kit string, because chemistry.ClosedBecause) func(context.Context, pgx.Tx, lab.Scope) error {
		return func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
			_, err := shares.CloseKit(ctx, tx, s, kit, because)
			return err
		}
	}
	kit := b.buy(b.newKit())
	b.refused("not-found", closing("kit_0", "expired"))
	b.refused("not-found", func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		s.Lab.ID = "lab_2"
		return closing(kit, "expired")(ctx, tx, s)
	})
	b.refused("invalid", closing(kit, "bored"))
	b.do(func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		_, err := b.batch(ctx, tx, s, kit, "planned")
		return err
	})
	b.refused("kit-has-open-batches", closing(kit, "expired"))
	b.do(func(ctx context.Context, tx pgx.Tx, _ lab.Scope) error {
		_, err := tx.Exec(ctx, `UPDATE batches SET status = 'cancelled'`)
		return err
	})
	b.close(kit, "thrown_away") // never used: the buyer's money is the fund's to return
	if diff := cmp.Diff(map[string]int64{"mem_ann": -6000, "fund": 6000}, b.balances()); diff != "" {
		t.Errorf("want -, got +:\n%s", diff)
	}
	b.refused("kit-closed", closing(kit, "expired"))
	b.refused("kit-closed", func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		return shares.ChargeRun(ctx, tx, s, shares.Run{ID: "run_1", Kit: kit})
	})
}

// A finished run that is not in the books stops the closing: sharing would be wrong.
func TestCloseKitWantsEveryRunCharged(t *testing.T) {
	t.Parallel()
	b := openBooks(t)
	kit := b.buy(b.newKit())
	b.run(kit, "spoiled", film{"mem_ann", 1})
	b.do(func(ctx context.Context, tx pgx.Tx, _ lab.Scope) error {
		_, err := tx.Exec(ctx, `UPDATE runs SET outcome = 'done'`)
		return err
	})
	err := b.try(func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		_, err := shares.CloseKit(ctx, tx, s, kit, "expired")
		return err
	})
	if err == nil || lab.RefusalCode(err) != "" || !strings.Contains(err.Error(), "never charged") {
		t.Errorf("got %v", err)
	}
}

func TestCloseKitTwiceAtOnce(t *testing.T) {
	t.Parallel()
	b := openBooks(t)
	kit := b.buy(b.newKit())
	errs := make([]error, 4)
	var wg sync.WaitGroup
	for i := range errs {
		wg.Go(func() {
			errs[i] = pgx.BeginFunc(t.Context(), b.pool, func(tx pgx.Tx) error {
				_, err := shares.CloseKit(t.Context(), tx, b.s, kit, "expired")
				return err
			})
		})
	}
	wg.Wait()
	closed := 0
	for _, err := range errs {
		if err == nil {
			closed++
		} else if lab.RefusalCode(err) != "kit-closed" {
			t.Error(err)
		}
	}
	if closed != 1 {
		t.Errorf("closed %d times", closed)
	}
}

func TestReverse(t *testing.T) {
	t.Parallel()
	b := openBooks(t)
	kit := b.buy(b.newKit())
	b.run(kit, "done", film{"mem_ann", 3}, film{"mem_bea", 3})
	var charge string
	b.do(func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		list, err := shares.ListEntries(ctx, tx, s.Lab.ID, &kit, lab.Page{Limit: 10})
		if err == nil {
			charge = list.Items[1].ID
		}
		return err
	})
	reverse := func(entry, text string) func(context.Context, pgx.Tx, lab.Scope) error {
		return func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
			_, err := shares.Reverse(ctx, tx, s, entry, text)
			return err
		}
	}
	b.refused("not-found", reverse("entry_0", "wrong"))
	b.refused("invalid", reverse(charge, ""))
	b.refused("reversal-of-reversal", func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		e, err := shares.Reverse(ctx, tx, s, charge, "once")
		if err != nil {
			return err
		}
		_, err = shares.Reverse(ctx, tx, s, e.ID, "twice")
		return err
	})
	b.do(reverse(charge, "the thermometer was wrong"))
	b.refused("already-reversed", reverse(charge, "again"))
	if diff := cmp.Diff(map[string]int64{kit: 6000, "mem_ann": -6000}, b.balances()); diff != "" {
		t.Errorf("reversed, want -, got +:\n%s", diff)
	}
	// The film is charged to nobody any more, yet it took half of the kit.
	b.run(kit, "done", film{"mem_bea", 6})
	a := b.close(kit, "used_up")
	if a.UsedAreaMM2 != 6*roll || a.SpoiledAreaMM2 != 6*roll || a.SpoiledMinor != 3000 {
		t.Errorf("closing says %+v", a.Closing)
	}
	if diff := cmp.Diff(map[string]int64{"mem_ann": -6000, "mem_bea": 6000}, b.balances()); diff != "" {
		t.Errorf("closed, want -, got +:\n%s", diff)
	}
}

func TestReverseOfClosedKit(t *testing.T) {
	t.Parallel()
	b := openBooks(t)
	kit := b.buy(b.newKit())
	b.run(kit, "done", film{"mem_ann", 3})
	b.close(kit, "expired")
	b.refused("kit-closed", func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		list, err := shares.ListEntries(ctx, tx, s.Lab.ID, &kit, lab.Page{Limit: 10})
		if err != nil {
			return err
		}
		_, err = shares.Reverse(ctx, tx, s, list.Items[1].ID, "wrong")
		return err
	})
}

// The database keeps the books, whatever a program tries.
func TestDatabaseKeepsTheBooks(t *testing.T) {
	t.Parallel()
	const entry = `INSERT INTO entries (lab_id, id, at, kind, text, made_by) VALUES
		 ('lab_1', 'entry_1', now(), 'purchase', '', 'mem_tom');`
	tests := []struct {
		name, sql, constraint string
	}{
		{"an entry without lines", entry, "entries_balance"},
		{"an entry of one line", entry + `INSERT INTO postings VALUES
			('lab_1', 'entry_1', 1, 'fund', NULL, NULL, NULL, NULL, 0)`, "entries_balance"},
		{"an entry that is a cent out", entry + `INSERT INTO postings VALUES
			('lab_1', 'entry_1', 1, 'fund', NULL, NULL, NULL, NULL, 100),
			('lab_1', 'entry_1', 2, 'member', 'mem_ann', NULL, NULL, NULL, -99)`, "entries_balance"},
		{"a line more on an entry of old", `INSERT INTO postings
			SELECT lab_id, id, 9, 'fund', NULL, NULL, NULL, NULL, 1 FROM entries`, "books_append_only"},
		{"another purchase of the kit", `INSERT INTO entries (lab_id, id, at, kind, text, kit_id, made_by)
			SELECT lab_id, 'entry_1', at, kind, text, kit_id, made_by FROM entries`, "entries_purchase_once"},
		{"an entry in a closed month", `INSERT INTO closed_months VALUES ('lab_1', '2020-01', '2020-02-01', '[]', 'mem_tom', now());
			INSERT INTO entries (lab_id, id, at, kind, text, made_by) VALUES ('lab_1', 'entry_1', '2020-01-31', 'payment', '', 'mem_tom')`, "entries_month_open"},
		{"a reversal of a reversal", `INSERT INTO entries (lab_id, id, at, kind, text, made_by, reverses)
			SELECT lab_id, 'entry_1', at, 'reversal', '', made_by, id FROM entries;
			INSERT INTO entries (lab_id, id, at, kind, text, made_by, reverses)
			SELECT lab_id, 'entry_2', at, 'reversal', '', made_by, id FROM entries WHERE id = 'entry_1'`, "entries_no_double_reversal"},
		{"a reversal of nothing", `INSERT INTO entries (lab_id, id, at, kind, text, made_by)
			SELECT lab_id, 'entry_1', at, 'reversal', '', made_by FROM entries`, "entries_reversal"},
		{"a payment to oneself", `INSERT INTO payments (lab_id, id, payer, payee, amount_minor, paid_on, reference, note, state, recorded_by, recorded_at)
			VALUES ('lab_1', 'pay_1', 'mem_ann', 'mem_ann', 1, '2026-01-01', '', '', 'recorded', 'mem_tom', now())`, "payments_not_to_oneself"},
		{"a changed amount", `UPDATE postings SET amount_minor = 1`, "books_append_only"},
		{"a changed entry", `UPDATE entries SET text = 'other'`, "books_append_only"},
		{"a deleted line", `DELETE FROM postings`, "books_append_only"},
		{"a deleted entry", `DELETE FROM entries`, "books_append_only"},
		{"emptied lines", `TRUNCATE postings`, "books_append_only"},
		{"emptied books", `TRUNCATE entries CASCADE`, "books_append_only"},
		{"a member's account without a member", entry + `INSERT INTO postings VALUES
			('lab_1', 'entry_1', 1, 'member', NULL, NULL, NULL, NULL, 0)`, "postings_account"},
	}
	b := openBooks(t)
	b.buy(b.newKit())
	before := b.balances()
	for _, tt := range tests {
		err := b.try(func(ctx context.Context, tx pgx.Tx, _ lab.Scope) error {
			_, err := tx.Conn().PgConn().Exec(ctx, tt.sql).ReadAll()
			return err
		})
		var pg *pgconn.PgError
		if !errors.As(err, &pg) || pg.ConstraintName != tt.constraint {
			t.Errorf("%s: got %v, want the database to refuse by %s", tt.name, err, tt.constraint)
		}
		if diff := cmp.Diff(before, b.balances()); diff != "" {
			t.Errorf("%s: before -, after +:\n%s", tt.name, diff)
		}
	}
}
