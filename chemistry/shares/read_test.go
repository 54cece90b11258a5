package shares_test

import (
	"context"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/jackc/pgx/v5"

	"wetside/chemistry/shares"
	"wetside/lab"
)

func TestListEntries(t *testing.T) {
	t.Parallel()
	b := openBooks(t)
	first, second := b.buy(b.newKit()), b.buy(b.newKit())
	run := b.run(first, "done", film{"mem_ann", 1}, film{"mem_bea", 2})
	b.close(second, "expired")
	read := func(kit *string, page lab.Page) (list lab.List[shares.Entry]) {
		b.do(func(ctx context.Context, tx pgx.Tx, s lab.Scope) (err error) {
			list, err = shares.ListEntries(ctx, tx, s.Lab.ID, kit, page)
			return err
		})
		return list
	}
	kinds := func(entries []shares.Entry) (out []shares.Kind) {
		for _, e := range entries {
			var sum int64
			for _, p := range e.Postings {
				sum += p.Amount
			}
			if sum != 0 || len(e.Postings) < 2 {
				t.Errorf("entry %+v does not balance", e)
			}
			out = append(out, e.Kind)
		}
		return out
	}
	page := read(nil, lab.Page{Limit: 3})
	rest := read(nil, lab.Page{Limit: 3, After: page.NextCursor})
	want := []shares.Kind{shares.Purchase, shares.Purchase, shares.RunCharge, shares.FinalCost}
	if diff := cmp.Diff(want, kinds(append(page.Items, rest.Items...))); diff != "" || rest.NextCursor != "" {
		t.Errorf("two pages, the last with cursor %q; want -, got +:\n%s", rest.NextCursor, diff)
	}
	of := read(&first, lab.Page{Limit: 9})
	charge := shares.Entry{
		Kind: shares.RunCharge, Text: "Developed on: " + b.newKit().Name, Kit: first, Run: run, MadeBy: "mem_tom",
		Postings: []shares.Posting{
			{Account: shares.MemberAccount, Member: "mem_ann", Roll: "roll_1", AreaMM2: roll, Amount: 500},
			{Account: shares.MemberAccount, Member: "mem_bea", Roll: "roll_2", AreaMM2: 2 * roll, Amount: 1000},
			{Account: shares.OwnKit, Kit: first, Amount: -1500},
		},
	}
	if diff := cmp.Diff(charge, of.Items[1], cmpopts.IgnoreFields(shares.Entry{}, "ID", "At", "Basis")); diff != "" || len(of.Items) != 2 {
		t.Errorf("%d entries of the kit; want -, got +:\n%s", len(of.Items), diff)
	}
	b.do(func(ctx context.Context, tx pgx.Tx, _ lab.Scope) error {
		other, err := shares.ListEntries(ctx, tx, "lab_2", nil, lab.Page{Limit: 9})
		if len(other.Items) != 0 {
			t.Errorf("another lab sees %d entries", len(other.Items))
		}
		return err
	})
}

func TestReadStatement(t *testing.T) {
	t.Parallel()
	b := openBooks(t)
	kit := b.buy(b.newKit())
	bought := b.s.Now
	b.run(kit, "done", film{"mem_ann", 1}, film{"mem_bea", 2}, film{"mem_ann", 2})
	ran := b.s.Now
	b.close(kit, "expired")
	closed := b.s.Now
	read := func(by lab.Member, member string, from, until *time.Time) (st shares.Statement, err error) {
		err = b.try(func(ctx context.Context, tx pgx.Tx, s lab.Scope) (err error) {
			s.By = by
			st, err = shares.ReadStatement(ctx, tx, s, member, shares.Span{From: from, Until: until})
			return err
		})
		return st, err
	}
	amounts := func(st shares.Statement) [][2]int64 {
		out := [][2]int64{}
		for _, l := range st.Lines {
			out = append(out, [2]int64{l.Amount, l.Balance})
		}
		return out
	}
	ann := lab.Member{ID: "mem_ann", Roles: []lab.Role{lab.RoleMember}}
	after := closed.Add(time.Second)
	tests := []struct {
		name             string
		from, until      *time.Time
		opening, closing int64
		lines            [][2]int64
	}{
		{"all of it", nil, nil, 0, -2400, [][2]int64{{-6000, -6000}, {1500, -4500}, {2100, -2400}}},
		{"from the run on", &ran, nil, -6000, -2400, [][2]int64{{1500, -4500}, {2100, -2400}}},
		{"until before the closing", nil, &closed, 0, -4500, [][2]int64{{-6000, -6000}, {1500, -4500}}},
		{"from the run until before the closing", &ran, &closed, -6000, -4500, [][2]int64{{1500, -4500}}},
		{"nothing before", nil, &bought, 0, 0, [][2]int64{}},
		{"nothing after", &after, nil, -2400, -2400, [][2]int64{}},
	}
	for _, tt := range tests {
		st, err := read(ann, "mem_ann", tt.from, tt.until)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(tt.lines, amounts(st)); diff != "" || st.Opening != tt.opening || st.Closing != tt.closing {
			t.Errorf("%s: opens %d, closes %d; want -, got +:\n%s", tt.name, st.Opening, st.Closing, diff)
		}
	}
	if _, err := read(ann, "mem_bea", nil, nil); lab.RefusalCode(err) != "forbidden" {
		t.Errorf("another's statement: %v", err)
	}
	if st, err := read(b.s.By, "mem_bea", nil, nil); err != nil || st.Closing != 2400 {
		t.Errorf("the treasurer reads %+v, %v", st, err)
	}
	if _, err := read(b.s.By, "mem_zoe", nil, nil); lab.RefusalCode(err) != "not-found" {
		t.Errorf("nobody's statement: %v", err)
	}
}

func TestReadKitAccount(t *testing.T) {
	t.Parallel()
	b := openBooks(t)
	kit := b.buy(b.newKit())
	b.run(kit, "done", film{"mem_ann", 1})
	read := func() (a shares.KitAccount) {
		b.do(func(ctx context.Context, tx pgx.Tx, s lab.Scope) (err error) {
			a, err = shares.ReadKitAccount(ctx, tx, s.Lab.ID, kit, shares.Span{})
			return err
		})
		return a
	}
	if a := read(); a.Balance != 5500 || len(a.Lines) != 2 || a.Lines[1].Amount != -500 {
		t.Errorf("open: %+v", a)
	}
	b.close(kit, "expired")
	if a := read(); a.Balance != 0 || len(a.Lines) != 3 || a.Currency != "EUR" {
		t.Errorf("closed: %+v", a)
	}
	b.refused("not-found", func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		_, err := shares.ReadKitAccount(ctx, tx, "lab_2", kit, shares.Span{})
		return err
	})
}
