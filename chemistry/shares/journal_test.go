package shares_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"

	"wetside/chemistry/shares"
	"wetside/lab"
	"wetside/lab/units"
)

// withoutHledger, set to "yes", lets a quick run on a machine without hledger
// pass by TestJournal, which says so; elsewhere the test fails without it.
const withoutHledger = "WETSIDE_TEST_WITHOUT_HLEDGER"

// hledgerBalances has hledger read a journal, check it, and add up each account.
func hledgerBalances(t *testing.T, journal []byte) map[string]string {
	t.Helper()
	program, err := exec.LookPath("hledger")
	if err != nil {
		if os.Getenv(withoutHledger) == "yes" {
			t.Skipf("NOT CHECKED: %v, and %s is yes", err, withoutHledger)
		}
		t.Fatalf("%v: install hledger (Debian has it), or set %s=yes for a run that does not check the export", err, withoutHledger)
	}
	file := filepath.Join(t.TempDir(), "books.journal")
	if err := os.WriteFile(file, journal, 0o600); err != nil {
		t.Fatal(err)
	}
	run := func(args ...string) []byte {
		var out, wrong bytes.Buffer
		cmd := exec.CommandContext(t.Context(), program, append([]string{"-f", file}, args...)...)
		cmd.Env = append(os.Environ(), "LANG=C.UTF-8")
		cmd.Stdout, cmd.Stderr = &out, &wrong
		if err := cmd.Run(); err != nil {
			t.Fatalf("hledger %v: %v\n%s\n%s", args, err, wrong.Bytes(), journal)
		}
		return out.Bytes()
	}
	run("check", "commodities", "ordereddates", "parseable") // and what it always checks: that entries balance
	rows, err := csv.NewReader(bytes.NewReader(run("balance", "--flat", "--no-total", "-O", "csv"))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]string{}
	for _, row := range rows[1:] {
		out[row[0]] = row[1]
	}
	return out
}

// A lab's books, with names that would break a careless journal, are read by
// hledger to the same balances, to the minor unit, in currencies of two, no
// and three decimals.
func TestJournal(t *testing.T) {
	t.Parallel()
	for _, currency := range []string{"EUR", "JPY", "KWD"} {
		t.Run(currency, func(t *testing.T) {
			t.Parallel()
			b := openBooks(t)
			b.s.Lab.Currency = currency
			for sql, arg := range map[string]string{
				`UPDATE labs SET currency = $1 WHERE id = 'lab_1'`:         currency,
				`UPDATE members SET name = $1 WHERE id = 'mem_ann'`:        "Ann; (x)  y:z = 1 | \"q\"\n2026-01-01 evil\n    a  1",
				`UPDATE members SET name = $1 WHERE id = 'mem_bea'`:        "*Béa @ 3 {4} [5]",
				`UPDATE members SET name = upper($1) WHERE id = 'mem_cyn'`: "!cyn #1 %",
			} {
				if _, err := b.pool.Exec(t.Context(), sql, arg); err != nil {
					t.Fatal(err)
				}
			}
			in := b.newKit()
			in.Name, in.Price = "Kit; of  = 2 L (blix) : x", units.Money{Amount: 10007, Currency: currency}
			kit, other := b.buy(in), b.buy(in)
			b.run(kit, "done", film{"mem_ann", 1}, film{"mem_bea", 2}, film{"mem_cyn", 1})
			b.run(other, "done", film{"mem_bea", 1}, film{"mem_tom", 2})
			b.run(kit, "spoiled", film{"mem_ann", 1})
			b.close(kit, "expired")
			b.pay("mem_bea", "mem_ann", 1234)
			var text, own []byte
			var st shares.Statement
			b.do(func(ctx context.Context, tx pgx.Tx, s lab.Scope) (err error) {
				if text, err = shares.WriteJournal(ctx, tx, s, shares.Span{}); err != nil {
					return err
				}
				if st, err = shares.ReadStatement(ctx, tx, s, "mem_bea", shares.Span{}); err != nil {
					return err
				}
				own, err = shares.WriteAccountJournal(ctx, tx, s, shares.Posting{Account: shares.MemberAccount, Member: "mem_bea"}, st.Lines, 0, nil)
				return err
			})
			got := map[string]string{}
			for account, amount := range hledgerBalances(t, text) {
				id := account[strings.LastIndexAny(account, " :")+1:] // accounts end in what they are of
				got[id] = amount
			}
			want := map[string]string{}
			for id, amount := range b.balances() {
				want[id] = units.Money{Amount: amount, Currency: currency}.String()
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("the books -, hledger +:\n%s\n%s", diff, text)
			}
			t.Logf("hledger agrees on %d accounts in %s, %d digits after the mark", len(got), currency, units.Exponent(currency))
			closing := units.Money{Amount: st.Closing, Currency: currency}.String()
			for account, amount := range hledgerBalances(t, own) {
				if strings.HasPrefix(account, "members:") && amount != closing {
					t.Errorf("the statement closes at %s, hledger has %s", closing, amount)
				}
			}
		})
	}
}

func TestStatementAsCSV(t *testing.T) {
	t.Parallel()
	b := openBooks(t)
	in := b.newKit()
	in.Name = "x\", =1+1"
	kit := b.buy(in)
	b.run(kit, "done", film{"mem_ann", 1}, film{"mem_ann", 2})
	for _, name := range []string{"=cmd()", "+1", "-2", "@x", "＝1", "  =1"} {
		in.Name = name
		b.buy(in)
	}
	var st shares.Statement
	var account shares.KitAccount
	b.do(func(ctx context.Context, tx pgx.Tx, s lab.Scope) (err error) {
		if account, err = shares.ReadKitAccount(ctx, tx, s.Lab.ID, kit, shares.Span{}); err != nil {
			return err
		}
		st, err = shares.ReadStatement(ctx, tx, s, "mem_ann", shares.Span{})
		return err
	})
	text := st.CSV("EUR")
	if bytes.Contains(bytes.ReplaceAll(text, []byte("\r\n"), nil), []byte("\n")) {
		t.Errorf("a line does not end in CRLF: %q", text)
	}
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != len(st.Lines)+3 {
		t.Errorf("%d rows of %d lines", len(rows), len(st.Lines))
	}
	for _, row := range rows[1:] {
		for i, cell := range row {
			if money := i == 6 || i == 7; !money && cell != "" && strings.ContainsAny(strings.TrimSpace(cell)[:1], "=+-@") {
				t.Errorf("a spreadsheet would reckon %q", cell)
			}
		}
	}
	if last := rows[len(rows)-1]; last[1] != "closing" || last[7] != units.Decimal(st.Closing, "EUR") {
		t.Errorf("closes with %q", last)
	}
	if line := rows[3]; line[5] != "roll_1 roll_2" || line[6] != "15.00" {
		t.Errorf("the run is %q", line)
	}
	if rows, err := csv.NewReader(bytes.NewReader(account.CSV("EUR"))).ReadAll(); err != nil || len(rows) != 5 {
		t.Errorf("the kit's account: %q, %v", rows, err)
	}
}
