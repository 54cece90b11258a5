package scheduling_test

import (
	"context"
	"crypto/rand"
	"errors"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"wetside/chemistry"
	"wetside/chemistry/shares"
	"wetside/deploy/testdb"
	"wetside/lab"
	"wetside/lab/database"
	"wetside/lab/units"
	"wetside/scheduling"
)

// monday is the start of the week that most tests live in: 7 June 2027, 08:00 in Lisbon.
var monday = time.Date(2027, 6, 7, 7, 0, 0, 0, time.UTC)

// A bench is a small lab in a database of its own: one tank with room for two
// small-gauge reels or five of 35 mm, one cabinet, a steward and two members.
type bench struct {
	t        *testing.T
	pool     *pgxpool.Pool
	steward  lab.Scope
	ana, bo  lab.Scope
	tank     lab.Tank
	cabinet  lab.Cabinet
	sessions []scheduling.Session
	kit      chemistry.Kit
	// store is what asApp runs by.
	store *database.Store
	// How long the last request by asApp took, and how many pages it touched.
	took    time.Duration
	touched int64
}

func newBench(t *testing.T) *bench {
	t.Helper()
	t.Parallel()
	return furnish(t)
}

// furnish makes a bench in a new database.
func furnish(t *testing.T) *bench {
	t.Helper()
	b := &bench{t: t, pool: testdb.New(t)}
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		start := monday.AddDate(0, 0, -7)
		f, err := lab.Found(ctx, tx, lab.NewLab{Name: "Test lab", TimeZone: "Europe/Lisbon", Currency: "EUR", Keeper: "Keeper"}, start, start, rand.Reader)
		if err != nil {
			return err
		}
		b.steward = lab.Scope{Lab: f.Lab, By: f.Keeper, Now: start}
		b.ana, b.bo = b.steward, b.steward
		for name, s := range map[string]*lab.Scope{"Ana": &b.ana, "Bo": &b.bo} {
			if s.By, err = lab.AddMember(ctx, tx, b.steward, lab.NewMember{Name: name, Roles: []lab.Role{lab.RoleMember}}); err != nil {
				return err
			}
		}
		return b.equip(ctx, tx)
	})
	b.at(monday)
	b.kit = b.buy(reversalKit())
	for _, day := range []int{0, 1, 3} {
		b.sessions = append(b.sessions, b.session(monday.AddDate(0, 0, day).Add(10*time.Hour), 4*time.Hour))
	}
	return b
}

func (b *bench) equip(ctx context.Context, tx pgx.Tx) (err error) {
	load := int64(15_300) // a 50 ft load
	for _, k := range []lab.NewReelKind{
		{Code: "spiral-35", Name: "35 mm spiral", Count: 6, HeightMM: 40, SolutionML: 250, Loading: 2 * units.Minute, Drying: 2 * units.Hour},
		{Code: "spiral-8", Name: "small-gauge spiral", Count: 2, HeightMM: 100, SolutionML: 600, Loading: 10 * units.Minute, Drying: 3 * units.Hour, LongestMM: &load},
	} {
		if _, err := lab.AddReelKind(ctx, tx, b.steward, k); err != nil {
			return err
		}
	}
	b.tank, err = lab.AddTank(ctx, tx, b.steward, lab.NewTank{Name: "Tank", HeightMM: 205, VolumeML: 1500, HeaterW: 500,
		ReelKinds: []string{"spiral-35", "spiral-8"}, CleanUp: 10 * units.Minute, Flush: 5 * units.Minute})
	if err != nil {
		return err
	}
	b.cabinet, err = lab.AddCabinet(ctx, tx, b.steward, lab.NewCabinet{Name: "Cabinet", Positions: 16, DropMM: 1700, Drying: 4 * units.Hour})
	return err
}

// at moves everybody's clock.
func (b *bench) at(now time.Time) {
	for _, s := range []*lab.Scope{&b.steward, &b.ana, &b.bo} {
		s.Now = now
	}
}

// in runs fn in a transaction that is committed unless it fails.
func (b *bench) in(fn func(context.Context, pgx.Tx) error) error {
	ctx := b.t.Context()
	return pgx.BeginFunc(ctx, b.pool, func(tx pgx.Tx) error { return fn(ctx, tx) })
}

func (b *bench) do(fn func(context.Context, pgx.Tx) error) {
	b.t.Helper()
	if err := b.in(fn); err != nil {
		b.t.Fatal(err)
	}
}

// call runs a use case in a transaction of its own.
func call[In, Out any](b *bench, s lab.Scope, f func(context.Context, pgx.Tx, lab.Scope, In) (Out, error), in In) (out Out, err error) {
	b.t.Helper()
	err = b.in(func(ctx context.Context, tx pgx.Tx) (err error) {
		out, err = f(ctx, tx, s, in)
		return err
	})
	return out, err
}

// must is call for what may not fail.
func must[In, Out any](b *bench, s lab.Scope, f func(context.Context, pgx.Tx, lab.Scope, In) (Out, error), in In) Out {
	b.t.Helper()
	out, err := call(b, s, f, in)
	if err != nil {
		b.t.Fatal(err)
	}
	return out
}

// refused wants err to be a refusal with a code, and returns it.
func (b *bench) refused(code string, err error) *lab.Refusal {
	b.t.Helper()
	var r *lab.Refusal
	if !errors.As(err, &r) || r.Code != code {
		b.t.Fatalf("got %v, want a refusal %s", err, code)
	}
	return r
}

func (b *bench) session(start time.Time, lasts time.Duration) scheduling.Session {
	b.t.Helper()
	return must(b, b.steward, scheduling.AddSession, scheduling.NewSession{
		Tank: b.tank.ID, Start: start, End: start.Add(lasts), Operator: b.steward.By.ID})
}

func (b *bench) buy(k chemistry.NewKit) chemistry.Kit {
	b.t.Helper()
	return must(b, b.steward, shares.Buy, shares.NewKit{
		NewKit: k, Price: shares.Price{Amount: shares.Amount(k.Price.Amount), Currency: k.Price.Currency},
	})
}

func (b *bench) roll(s lab.Scope, format, process string) scheduling.Roll {
	b.t.Helper()
	return must(b, s, scheduling.HandIn, scheduling.NewRoll{Format: format, Process: process})
}

func (b *bench) rolls(s lab.Scope, n int, format, process string) (ids []string) {
	b.t.Helper()
	for range n {
		ids = append(ids, b.roll(s, format, process).ID)
	}
	return ids
}

func (b *bench) plan(from, until time.Time) scheduling.Plan {
	b.t.Helper()
	return must(b, b.steward, scheduling.MakePlan, scheduling.NewPlan{From: from, Until: until})
}

func (b *bench) commit(p scheduling.Plan) (out scheduling.Plan, err error) {
	b.t.Helper()
	err = b.in(func(ctx context.Context, tx pgx.Tx) (err error) {
		out, err = scheduling.CommitPlan(ctx, tx, b.steward, p.ID, p.Version)
		return err
	})
	return out, err
}

func (b *bench) find(s lab.Scope, roll string) (r scheduling.Roll) {
	b.t.Helper()
	b.do(func(ctx context.Context, tx pgx.Tx) (err error) {
		r, err = scheduling.FindRoll(ctx, tx, s, roll)
		return err
	})
	return r
}

// reversalKit carries twelve roll-equivalents in one portion of 1.5 L.
func reversalKit() chemistry.NewKit {
	area, perL := int64(12*chemistry.RollEquivalentMM2), int64(4*chemistry.RollEquivalentMM2)
	bath := func(role string) chemistry.BathDefinition {
		return chemistry.BathDefinition{Role: role, Use: chemistry.Reused, VolumeML: 1500, AreaMM2: &area, RunMM2PerL: &perL, Life: 28 * units.Day}
	}
	first := bath("first-developer")
	first.Correction = chemistry.Correction{{MM2PerL: 0, Permille: 1000}, {MM2PerL: area * 1000 / 1500, Permille: 1200}}
	return chemistry.NewKit{
		Name: "Three-bath reversal", Process: "reversal-3", Price: units.Money{Amount: 6000, Currency: "EUR"},
		BoughtOn: "2027-06-01", Portions: 1, Mix: 20 * units.Minute, UnopenedUntil: monday.AddDate(1, 0, 0), OpenedLife: 60 * units.Day,
		RatedAreaMM2: area, Baths: []chemistry.BathDefinition{first, bath("colour-developer"), bath("bleach-fix"), bath("stabiliser")},
		ShareRule: chemistry.ByArea, UnusedFallsOn: chemistry.OnUsers,
	}
}
