package shares_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/chemistry/shares"
	"wetside/lab"
)

// as runs fn as a member without a role.
func (b *books) as(member string, fn func(ctx context.Context, tx pgx.Tx, s lab.Scope) error) error {
	return b.try(func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		s.By = lab.Member{ID: member, Roles: []lab.Role{lab.RoleMember}}
		return fn(ctx, tx, s)
	})
}

func (b *books) rules(spoiled shares.SpoiledFallsOn, surcharge int64) {
	b.t.Helper()
	b.do(func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		r, err := shares.ReadMoneyRules(ctx, tx, s.Lab.ID)
		if err != nil {
			return err
		}
		amount := shares.Amount(surcharge)
		_, err = shares.ChangeMoneyRules(ctx, tx, s, r.Version, shares.MoneyRulesChange{SpoiledFallsOn: &spoiled, SurchargeMinor: &amount})
		return err
	})
}

func (b *books) entries() (out []shares.Entry) {
	b.t.Helper()
	b.do(func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		list, err := shares.ListEntries(ctx, tx, s.Lab.ID, nil, lab.Page{Limit: 1000})
		out = list.Items
		return err
	})
	return out
}

func (b *books) reverse(entry string) {
	b.t.Helper()
	b.do(func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		_, err := shares.Reverse(ctx, tx, s, entry, "wrong")
		return err
	})
}

// A spoiled run takes a third of the kit: it falls on the sharers or the fund
// as the lab ruled when the kit was entered, apart from what goes unused.
func TestSpoiledRunsFallAsTheLabRules(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		spoiled shares.SpoiledFallsOn
		want    map[string]int64
	}{
		// 60 €: 6 of 12 rolls used (Ann 4, Bea 2), 4 spoiled, 2 unused, which fall on the fund.
		{shares.AsUnused, map[string]int64{"mem_ann": 2000, "mem_bea": 1000, "fund": 3000 - 6000}},
		{shares.OnSharers, map[string]int64{"mem_ann": 2000 + 1333, "mem_bea": 1000 + 667, "fund": 1000 - 6000}},
		{shares.SpoiledFund, map[string]int64{"mem_ann": 2000, "mem_bea": 1000, "fund": 3000 - 6000}},
	} {
		b := openBooks(t)
		b.rules(tt.spoiled, 0)
		in := b.newKit()
		in.BoughtBy, in.UnusedFallsOn = "", chemistry.OnFund
		kit := b.buy(in)
		b.rules(shares.AsUnused, 0) // too late for this kit
		b.run(kit, "done", film{"mem_ann", 4}, film{"mem_bea", 2})
		b.run(kit, "spoiled", film{"mem_cyn", 4})
		b.close(kit, "expired")
		if diff := cmp.Diff(tt.want, b.balances()); diff != "" {
			t.Errorf("%s: want -, got +:\n%s", tt.spoiled, diff)
		}
	}
}

func TestSurchargeGoesToTheFund(t *testing.T) {
	t.Parallel()
	b := openBooks(t)
	kit := b.buy(b.newKit())
	b.rules(shares.AsUnused, 100)
	b.run(kit, "done", film{"mem_ann", 1}, film{"mem_bea", 2})
	b.run(kit, "spoiled", film{"mem_cyn", 1})
	b.close(kit, "expired")
	// Ann paid 60 €; used 5 and 10, of 45 unused or spoiled 15 and 30; and 33 and 67 cents of the surcharge.
	want := map[string]int64{"mem_ann": 2000 + 33 - 6000, "mem_bea": 4000 + 67, "fund": -100}
	if diff := cmp.Diff(want, b.balances()); diff != "" {
		t.Errorf("want -, got +:\n%s", diff)
	}
}

// Of a free roll the fund is the user; one made free after its run is so once
// the charge is reversed and made anew, and the surcharge is not taken twice.
func TestFreeRolls(t *testing.T) {
	t.Parallel()
	b := openBooks(t)
	b.rules(shares.AsUnused, 100)
	kit := b.buy(b.newKit())
	run := b.run(kit, "done", film{"mem_ann", 6}, film{"mem_bea", 6})
	give := func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		_, err := shares.GiveRoll(ctx, tx, s, "roll_2", shares.NewGift{Reason: "Her first"})
		return err
	}
	anew := func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		_, err := shares.ChargeAnew(ctx, tx, s, run)
		return err
	}
	b.refused("roll-already-charged", give)
	b.refused("run-already-charged", anew)
	for _, e := range b.entries() {
		if e.Kind == shares.RunCharge {
			b.reverse(e.ID)
		}
	}
	b.do(give)
	b.refused("roll-already-free", give)
	b.do(anew)
	a := b.close(kit, "used_up")
	if a.UsedAreaMM2 != 12*roll || a.SpoiledAreaMM2 != 0 {
		t.Errorf("closing says %+v", a.Closing)
	}
	want := map[string]int64{"mem_ann": 3000 + 50 - 6000, "mem_bea": 50, "fund": 3000 - 100}
	if diff := cmp.Diff(want, b.balances()); diff != "" {
		t.Errorf("want -, got +:\n%s", diff)
	}
}

// Portions of a kit are mixed on different days, and their runs shared together.
func TestPortionsOfDifferentDaysAreSharedTogether(t *testing.T) {
	t.Parallel()
	b := openBooks(t)
	kit := b.buy(b.newKit())
	var sets []string
	for _, days := range []int{0, 20} {
		b.s.Now = b.s.Now.AddDate(0, 0, days)
		b.do(func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
			set, err := chemistry.MixKit(ctx, tx, s, chemistry.NewMix{Kit: kit})
			sets = append(sets, set.ID)
			return err
		})
		b.run(kit, "done", film{"mem_ann", 2}, film{"mem_bea", 2})
		b.run(kit, "done", film{"mem_cyn", 2})
	}
	a := b.close(kit, "used_up")
	want := map[string]int64{"mem_ann": 2000 - 6000, "mem_bea": 2000, "mem_cyn": 2000}
	if diff := cmp.Diff(want, b.balances()); diff != "" || len(sets) != 2 || a.UnusedMinor != 0 {
		t.Errorf("%d sets, %d unused; want -, got +:\n%s", len(sets), a.UnusedMinor, diff)
	}
}

// After first use a rule changes once every sharer has consented, those who came meanwhile too.
func TestTermsChangeByConsent(t *testing.T) {
	t.Parallel()
	b := openBooks(t)
	in := b.newKit()
	in.Subscribers = []string{"mem_tom"}
	kit := b.buy(in)
	b.run(kit, "done", film{"mem_ann", 3}, film{"mem_bea", 1})
	rule := shares.ByRoll
	var change shares.TermsChange
	propose := func(ctx context.Context, tx pgx.Tx, s lab.Scope) (err error) {
		change, err = shares.ProposeTerms(ctx, tx, s, kit, shares.NewTermsChange{ShareRule: &rule, Reason: "Agreed at the meeting"})
		return err
	}
	b.do(propose)
	id := change.ID
	if diff := cmp.Diff([]string{"mem_ann", "mem_bea", "mem_tom"}, change.Waiting); diff != "" || change.AppliedAt != nil {
		t.Errorf("waits for -want, +got:\n%s", diff)
	}
	b.refused("terms-change-open", propose)
	b.refused("terms-change-open", func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		_, err := shares.CloseKit(ctx, tx, s, kit, "expired")
		return err
	})
	consent := func(of, note string) func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		return func(ctx context.Context, tx pgx.Tx, s lab.Scope) (err error) {
			change, err = shares.RecordConsent(ctx, tx, s, kit, id, shares.NewConsent{Member: of, Note: note})
			return err
		}
	}
	if err := b.as("mem_ann", consent("mem_bea", "")); lab.RefusalCode(err) != "forbidden" {
		t.Errorf("for another: %v", err)
	}
	if err := b.as("mem_cyn", consent("", "")); lab.RefusalCode(err) != "not-a-sharer" {
		t.Errorf("no sharer: %v", err)
	}
	b.run(kit, "done", film{"mem_cyn", 2})
	for _, member := range []string{"mem_ann", "mem_cyn"} {
		if err := b.as(member, consent("", "")); err != nil {
			t.Fatal(err)
		}
	}
	b.refused("already-consented", consent("mem_ann", ""))
	b.do(consent("mem_bea", "said so on the telephone"))
	b.do(consent("", ""))
	if change.AppliedAt == nil || len(change.Waiting) != 0 || len(change.Consents) != 4 {
		t.Errorf("all have consented: %+v", change)
	}
	if a := b.close(kit, "used_up"); a.Rule != shares.ByRoll {
		t.Errorf("shared %s", a.Rule)
	}
}

func TestWithdrawnChangeChangesNothing(t *testing.T) {
	t.Parallel()
	b := openBooks(t)
	kit := b.buy(b.newKit())
	b.run(kit, "done", film{"mem_ann", 3})
	rule := shares.ByRoll
	b.do(func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		c, err := shares.ProposeTerms(ctx, tx, s, kit, shares.NewTermsChange{ShareRule: &rule, Reason: "x"})
		if err != nil {
			return err
		}
		return shares.WithdrawChange(ctx, tx, s, kit, c.ID)
	})
	if a := b.close(kit, "used_up"); a.Rule != shares.ByArea {
		t.Errorf("shared %s", a.Rule)
	}
}

// A reversed closing opens the kit; closed again without a change, all is as before.
func TestClosingIsReversedAndMadeAnew(t *testing.T) {
	t.Parallel()
	b := openBooks(t)
	kit := b.buy(b.newKit())
	b.run(kit, "done", film{"mem_ann", 3}, film{"mem_bea", 2})
	open := b.balances()
	a := b.close(kit, "expired")
	closed := b.balances()
	b.reverse(a.Entry)
	if diff := cmp.Diff(open, b.balances()); diff != "" {
		t.Errorf("reopened, want -, got +:\n%s", diff)
	}
	again := b.close(kit, "expired")
	if diff := cmp.Diff(closed, b.balances()); diff != "" || !cmp.Equal(a.Closing, again.Closing) {
		t.Errorf("closed again, want -, got +:\n%s", diff)
	}
}

// Why one owes what one owes: the reasons add up, and their last steps are their amounts.
func TestExplain(t *testing.T) {
	t.Parallel()
	b := openBooks(t)
	b.rules(shares.OnSharers, 100)
	kit := b.buy(b.newKit())
	run := b.run(kit, "done", film{"mem_ann", 1}, film{"mem_bea", 2})
	b.run(kit, "spoiled", film{"mem_bea", 1})
	b.close(kit, "expired")
	b.pay("mem_bea", "mem_ann", 1000)
	var why shares.Explanation
	read := func(ctx context.Context, tx pgx.Tx, s lab.Scope) (err error) {
		why, err = shares.Explain(ctx, tx, s, "mem_bea", nil)
		return err
	}
	if err := b.as("mem_cyn", read); lab.RefusalCode(err) != "forbidden" {
		t.Errorf("another's: %v", err)
	}
	if err := b.as("mem_bea", read); err != nil {
		t.Fatal(err)
	}
	var sum int64
	for _, r := range why.Reasons {
		sum += r.Amount
		if last := r.Steps[len(r.Steps)-1]; last.Result != r.Amount {
			t.Errorf("%s of %d ends with %+v", r.Kind, r.Amount, last)
		}
	}
	if want := b.balances()["mem_bea"]; sum != want || why.Balance != want || len(why.Reasons) != 4 {
		t.Errorf("%d reasons add up to %d, the balance is %d", len(why.Reasons), sum, want)
	}
	charge := why.Reasons[0]
	if charge.Run != run || charge.Roll != "roll_2" || charge.Kit != kit || charge.KitName == "" ||
		!strings.Contains(charge.Steps[0].How, "60.00 EUR × 154839 mm² ÷ 619356 mm² rated = 15.0000") ||
		!strings.Contains(charge.Steps[1].How, "15.00 EUR × 103226 mm² ÷ 154839 mm² = 10.0000") {
		t.Errorf("the charge: %+v", charge)
	}
}

// The fund's and members' statements, over a span.
func TestReadFund(t *testing.T) {
	t.Parallel()
	b := openBooks(t)
	in := b.newKit()
	in.BoughtBy = ""
	b.buy(in)
	at := b.s.Now.Add(time.Minute)
	b.buy(in)
	b.do(func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		st, err := shares.ReadFund(ctx, tx, s, shares.Span{From: &at})
		if err != nil || st.Opening != -6000 || st.Closing != -12000 || len(st.Lines) != 1 {
			t.Errorf("fund %+v, %v", st, err)
		}
		return err
	})
}

// The role that the program works as can add to the books and read them.
func TestTheProgramsRoleCannotChangeTheBooks(t *testing.T) {
	t.Parallel()
	b := openBooks(t)
	b.buy(b.newKit())
	for _, sql := range []string{
		`UPDATE postings SET amount_minor = 1`, `DELETE FROM postings`, `TRUNCATE postings`,
		`UPDATE entries SET text = ''`, `DELETE FROM entries`, `TRUNCATE entries CASCADE`,
		`UPDATE closed_months SET month = ''`, `DELETE FROM closed_months`, `UPDATE consents SET note = ''`,
		`ALTER TABLE entries DISABLE TRIGGER ALL`, `DROP TRIGGER entries_append_only ON entries`,
		`DROP TABLE postings`, `SET session_replication_role = replica`,
		`CREATE OR REPLACE FUNCTION append_only() RETURNS trigger LANGUAGE plpgsql AS 'BEGIN RETURN NULL; END'`,
		`UPDATE goose_db_version SET version_id = 0`,
	} {
		err := b.try(func(ctx context.Context, tx pgx.Tx, _ lab.Scope) error {
			if _, err := tx.Exec(ctx, `SET LOCAL ROLE wetside_app`); err != nil {
				t.Fatal(err)
			}
			_, err := tx.Exec(ctx, sql)
			return err
		})
		if !lab.Violates(err, "42501", "") {
			t.Errorf("%s: %v, want no privilege", sql, err)
		}
	}
}

// Check digits of ISO 11649, on the reference that the standard's guides use
// (RF18 5390 0754 7034; from memory).
func TestReference(t *testing.T) {
	t.Parallel()
	if !shares.CheckReference("RF18 5390 0754 7034") || shares.CheckReference("RF18 5390 0754 7035") || shares.CheckReference("XX18539007547034") {
		t.Error("check digits are not those of the standard")
	}
	one, other := shares.Reference("lab_1", "mem_ann", ""), shares.Reference("lab_1", "", "mem_ann")
	if one == other || !shares.CheckReference(one) || !shares.CheckReference(other) || one != shares.Reference("lab_1", "mem_ann", "") {
		t.Errorf("references %s and %s", one, other)
	}
}
