package shares_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"wetside/chemistry"
	"wetside/chemistry/shares"
	"wetside/deploy/testdb"
	"wetside/lab"
	"wetside/lab/units"
)

// books are the books of a lab with the members mem_ann, mem_bea, mem_cyn and
// the treasurer mem_tom, in a database of the test's own. Every transaction is an hour after the one before.
type books struct {
	t    *testing.T
	pool *pgxpool.Pool
	s    lab.Scope
	n    int // of the rolls, batches and runs made
}

func openBooks(t *testing.T) *books {
	t.Helper()
	now := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	b := &books{t: t, pool: testdb.New(t), s: lab.Scope{
		Lab: lab.Lab{ID: "lab_1", Currency: "EUR", TimeZone: "Europe/Lisbon"},
		By:  lab.Member{ID: "mem_tom", Roles: []lab.Role{lab.RoleTreasurer}},
		Now: now,
	}}
	for _, sql := range []string{
		`INSERT INTO labs VALUES ('lab_1', 'Basement', 'Europe/Lisbon', 'EUR', 'trade', 0, 20000, 800, $1),
			('lab_2', 'Attic', 'Europe/Lisbon', 'EUR', 'trade', 0, 20000, 800, $1)`,
		`INSERT INTO members (lab_id, id, name, roles, joined_at)
			SELECT 'lab_1', id, id, '{member}', $1 FROM unnest('{mem_ann,mem_bea,mem_cyn,mem_tom}'::text[]) AS id`,
		`INSERT INTO tanks (lab_id, id, name, height_mm, volume_ml, heater_w, reel_kinds, clean_up_s, flush_s)
			SELECT 'lab_1', 'tank_1', 'Tank', 200, 2000, 300, '{spiral-35}', 0, 0 WHERE $1::timestamptz IS NOT NULL`,
		`INSERT INTO reel_kinds (lab_id, code, name, count, holds, height_mm, solution_ml, loading_s, drying_s)
			SELECT 'lab_1', 'spiral-35', '35 mm', 9, 1, 40, 300, 60, 600 WHERE $1::timestamptz IS NOT NULL`,
		`INSERT INTO sessions (lab_id, id, tank_id, operator_id, during, processes)
			VALUES ('lab_1', 'session_1', 'tank_1', 'mem_tom', tstzrange($1, $1::timestamptz + '1 year'), '{}')`,
		`INSERT INTO plans (lab_id, id, problem, plan, replaces, schedule_version, made_by, made_at)
			VALUES ('lab_1', 'plan_1', '{}', '{}', '{}', 1, 'mem_tom', $1)`,
	} {
		if _, err := b.pool.Exec(t.Context(), sql, now); err != nil {
			t.Fatalf("%v in %s", err, sql)
		}
	}
	return b
}

// try runs fn in a transaction that is committed if fn has no error.
func (b *books) try(fn func(ctx context.Context, tx pgx.Tx, s lab.Scope) error) error {
	b.s.Now = b.s.Now.Add(time.Hour)
	return pgx.BeginFunc(b.t.Context(), b.pool, func(tx pgx.Tx) error { return fn(b.t.Context(), tx, b.s) })
}

func (b *books) do(fn func(ctx context.Context, tx pgx.Tx, s lab.Scope) error) {
	b.t.Helper()
	if err := b.try(fn); err != nil {
		b.t.Fatal(err)
	}
}

// refused fails unless fn is refused with the code.
func (b *books) refused(code string, fn func(ctx context.Context, tx pgx.Tx, s lab.Scope) error) {
	b.t.Helper()
	if err := b.try(fn); lab.RefusalCode(err) != code {
		b.t.Errorf("got %v, want a refusal %q", err, code)
	}
}

// newKit is a kit of two portions for six roll-equivalents each, for 60 €, bought by mem_ann.
func (b *books) newKit() chemistry.NewKit {
	k := chemistry.NewKit{
		Name: "Three-bath reversal, 2 × 1 L", Process: "reversal-3", Price: units.Money{Amount: 6000, Currency: "EUR"},
		BoughtBy: "mem_ann", BoughtOn: "2026-03-02", Portions: 2, Mix: 30 * units.Minute,
		UnopenedUntil: b.s.Now.AddDate(1, 0, 0), OpenedLife: 60 * units.Day, RatedAreaMM2: 6 * roll,
		ShareRule: chemistry.ByArea, UnusedFallsOn: chemistry.OnUsers, Subscribers: []string{},
	}
	for _, p := range chemistry.BuiltInProcesses() {
		if p.Code != k.Process {
			continue
		}
		for _, role := range p.Roles() {
			area := int64(6 * roll)
			k.Baths = append(k.Baths, chemistry.BathDefinition{
				Role: role, Use: chemistry.Reused, VolumeML: 1000, AreaMM2: &area, Life: 30 * units.Day,
			})
		}
	}
	return k
}

// newKit is a kit with its price where package shares looks for it.
func newKit(in chemistry.NewKit) shares.NewKit {
	return shares.NewKit{NewKit: in, Price: shares.Price{Amount: shares.Amount(in.Price.Amount), Currency: in.Price.Currency}}
}

func (b *books) buy(in chemistry.NewKit) (kit string) {
	b.t.Helper()
	b.do(func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		k, err := shares.Buy(ctx, tx, s, newKit(in))
		kit = k.ID
		return err
	})
	return kit
}

// film is a member's roll of so many roll-equivalents.
type film struct {
	member string
	rolls  int64
}

// run records a run of films on a kit; done ones are charged.
func (b *books) run(kit, outcome string, films ...film) (run string) {
	b.t.Helper()
	b.do(func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		r := shares.Run{Kit: kit}
		var area int64
		for _, f := range films {
			b.n++
			u := shares.RollUse{Roll: fmt.Sprintf("roll_%d", b.n), Member: f.member, AreaMM2: f.rolls * roll}
			_, err := tx.Exec(ctx, `
				INSERT INTO rolls (lab_id, id, member_id, format, length_mm, process, push, trade_area_mm2,
					geometric_area_mm2, reel_kind, priority, handed_in_at, status)
				VALUES ('lab_1', $1, $2, '135-36', 1600, 'reversal-3', 0, $3, $3, 'spiral-35', 1, $4, 'processed')`,
				u.Roll, u.Member, u.AreaMM2, s.Now)
			if err != nil {
				return err
			}
			area += u.AreaMM2
			r.Rolls = append(r.Rolls, u)
		}
		batch, err := b.batch(ctx, tx, s, kit, outcome)
		if err != nil {
			return err
		}
		r.ID = "run" + batch
		_, err = tx.Exec(ctx, `
			INSERT INTO runs (lab_id, id, batch_id, outcome, started_at, ended_at, area_mm2, note, run_sheet, recorded_by, recorded_at)
			VALUES ('lab_1', $1, $2, $3, $4, $4::timestamptz + interval '1 hour', $5, '', '{}', 'mem_tom', $4)`,
			r.ID, batch, outcome, s.Now, area)
		if err != nil {
			return err
		}
		run = r.ID
		if outcome == "spoiled" {
			return nil
		}
		return shares.ChargeRun(ctx, tx, s, r)
	})
	return run
}

func (b *books) batch(ctx context.Context, tx pgx.Tx, s lab.Scope, kit, status string) (string, error) {
	b.n++
	id := fmt.Sprintf("batch_%d", b.n)
	_, err := tx.Exec(ctx, `
		INSERT INTO batches (lab_id, id, plan_id, session_id, tank_id, process, push, developing_s, kit_id, mixes,
			start_at, wet_at, end_at, clear_at, placed, status)
		VALUES ('lab_1', $1, 'plan_1', 'session_1', 'tank_1', 'reversal-3', 0, 360, $2, false,
			$3, $3, $3::timestamptz + interval '1 hour', $3::timestamptz + interval '1 hour', '{}', $4)`,
		id, kit, s.Now, status)
	return id, err
}

func (b *books) close(kit string, because chemistry.ClosedBecause) (a shares.ClosingAnswer) {
	b.t.Helper()
	b.do(func(ctx context.Context, tx pgx.Tx, s lab.Scope) (err error) {
		a, err = shares.CloseKit(ctx, tx, s, kit, because)
		return err
	})
	return a
}

// pay records a payment and has its payee confirm it.
func (b *books) pay(from, to string, amount int64) (p shares.PaymentRecord) {
	b.t.Helper()
	b.do(func(ctx context.Context, tx pgx.Tx, s lab.Scope) (err error) {
		p, err = shares.RecordPayment(ctx, tx, s, shares.NewPayment{
			From: from, To: to, Amount: shares.Price{Amount: shares.Amount(amount), Currency: s.Lab.Currency}, PaidOn: s.Now.Format(time.DateOnly),
		})
		if err != nil {
			return err
		}
		if to != shares.TheFund {
			s.By = lab.Member{ID: to, Roles: []lab.Role{lab.RoleMember}}
		}
		p, err = shares.AnswerPayment(ctx, tx, s, p.ID, p.Version, true)
		return err
	})
	return p
}

// balances are those of all accounts but zero ones, by member, kit or "fund".
func (b *books) balances() map[string]int64 {
	b.t.Helper()
	out := map[string]int64{}
	b.do(func(ctx context.Context, tx pgx.Tx, _ lab.Scope) error {
		rows, err := tx.Query(ctx, `
			SELECT coalesce(member_id, kit_id, 'fund'), sum(amount_minor)::bigint
			FROM postings WHERE lab_id = 'lab_1' GROUP BY 1 HAVING sum(amount_minor) <> 0`)
		if err != nil {
			return err
		}
		var account string
		var amount int64
		_, err = pgx.ForEachRow(rows, []any{&account, &amount}, func() error {
			out[account] = amount
			return nil
		})
		return err
	})
	return out
}

func (b *books) settle() (out shares.LabSettlement) {
	b.t.Helper()
	b.do(func(ctx context.Context, tx pgx.Tx, s lab.Scope) (err error) {
		out, err = shares.SettleLab(ctx, tx, s.Lab.ID)
		return err
	})
	for i := range out.Payments {
		if !shares.CheckReference(out.Payments[i].Reference) {
			b.t.Errorf("payment without a reference: %+v", out.Payments[i])
		}
		out.Payments[i].Reference = "" // which the tables do not state
	}
	return out
}
