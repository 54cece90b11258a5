package chemistry_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"wetside/chemistry"
	"wetside/deploy/testdb"
	"wetside/lab"
)

// A bench is a lab with two members, in a database of its own.
type bench struct {
	t     *testing.T
	pool  *pgxpool.Pool
	scope lab.Scope
}

const fixtures = `
	INSERT INTO labs (id, name, time_zone, currency, area_rule, developing_tolerance_permille,
		room_temperature_mc, heater_efficiency_permille, created_at)
	VALUES ('lab_a', 'North', 'Europe/Lisbon', 'EUR', 'trade', 0, 20000, 900, $1),
	       ('lab_b', 'South', 'Europe/Lisbon', 'EUR', 'geometric', 0, 20000, 900, $1)`

const people = `
	INSERT INTO members (lab_id, id, name, roles, joined_at, left_at)
	VALUES ('lab_a', 'mem_ana', 'Ana', '{steward,treasurer}', $1, NULL),
	       ('lab_a', 'mem_bo', 'Bo', '{member}', $1, NULL),
	       ('lab_a', 'mem_gone', 'Cy', '{member}', $1, $1),
	       ('lab_b', 'mem_far', 'Dee', '{steward}', $1, NULL)`

func newBench(t *testing.T) *bench {
	t.Helper()
	b := &bench{t: t, pool: testdb.New(t)}
	for _, sql := range []string{fixtures, people} {
		if _, err := b.pool.Exec(t.Context(), sql, mixed.AddDate(0, -1, 0)); err != nil {
			t.Fatal(err)
		}
	}
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		l, err := lab.Find(ctx, tx, "lab_a")
		b.scope = lab.Scope{Lab: l, By: lab.Member{ID: "mem_ana"}, Now: mixed}
		return err
	})
	return b
}

// in runs fn in a transaction that is committed unless it fails.
func (b *bench) in(fn func(context.Context, pgx.Tx) error) error {
	ctx := b.t.Context()
	return pgx.BeginFunc(ctx, b.pool, func(tx pgx.Tx) error { return fn(ctx, tx) })
}

// do runs fn in a transaction and fails the test if it does.
func (b *bench) do(fn func(context.Context, pgx.Tx) error) {
	b.t.Helper()
	if err := b.in(fn); err != nil {
		b.t.Fatal(err)
	}
}

// refused runs fn and wants its refusal, which it returns.
func (b *bench) refused(code string, fn func(context.Context, pgx.Tx) error) *lab.Refusal {
	b.t.Helper()
	err := b.in(fn)
	var r *lab.Refusal
	if !errors.As(err, &r) || r.Code != code {
		b.t.Fatalf("%v, want a refusal %s", err, code)
	}
	return r
}

// later is the scope some time on.
func (b *bench) later(d time.Duration) lab.Scope {
	s := b.scope
	s.Now = s.Now.Add(d)
	return s
}

func (b *bench) buy(change func(*chemistry.NewKit)) chemistry.Kit {
	b.t.Helper()
	k := reversalKit()
	change(&k)
	var kit chemistry.Kit
	b.do(func(ctx context.Context, tx pgx.Tx) (err error) {
		kit, err = chemistry.AddKit(ctx, tx, b.scope, k)
		return err
	})
	return kit
}

func (b *bench) mix(s lab.Scope, kit string) chemistry.BathSet {
	b.t.Helper()
	var set chemistry.BathSet
	b.do(func(ctx context.Context, tx pgx.Tx) (err error) {
		set, err = chemistry.MixKit(ctx, tx, s, chemistry.NewMix{Kit: kit})
		return err
	})
	return set
}

// scheduleVersion is how often the lab was touched.
func (b *bench) scheduleVersion() int64 {
	b.t.Helper()
	var n int64
	if err := b.pool.QueryRow(b.t.Context(), `SELECT schedule_version FROM labs WHERE id = 'lab_a'`).Scan(&n); err != nil {
		b.t.Fatal(err)
	}
	return n
}

func TestAFormatOfTheLabsOwn(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	own := chemistry.Format{Code: "127", Name: "127", Kind: chemistry.Still, WidthUM: 16_000, LengthMM: 680, ReelKind: "spiral-16",
		Hang: chemistry.HangStrip, Source: "measured by the lab"}
	add := func(f chemistry.Format) func(context.Context, pgx.Tx) error {
		return func(ctx context.Context, tx pgx.Tx) error {
			_, err := chemistry.AddFormat(ctx, tx, b.scope, f)
			return err
		}
	}
	b.do(add(own))
	b.refused("format-exists", add(own))
	builtIn := own
	builtIn.Code = "120"
	b.refused("format-exists", add(builtIn))
	own.Code, own.WidthUM = "127-wide", 0
	if r := b.refused("invalid", add(own)); r.Kind != lab.Invalid || r.Faults[0].Pointer != "/width_um" {
		t.Errorf("%+v", r)
	}
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		all, err := chemistry.Formats(ctx, tx, "lab_a")
		if n := len(chemistry.BuiltInFormats()); err == nil && (len(all) != n+1 || all[n].Code != "127" || all[n].WidthUM != 16_000) {
			t.Errorf("%d formats, the last %+v", len(all), all[len(all)-1])
		}
		return err
	})
	find := func(labID, code string) func(context.Context, pgx.Tx) error {
		return func(ctx context.Context, tx pgx.Tx) error {
			_, err := chemistry.FindFormat(ctx, tx, labID, code)
			return err
		}
	}
	b.do(find("lab_a", "127"))
	b.do(find("lab_b", "120"))
	b.refused("not-found", find("lab_b", "127"))
}

func TestAProcessOfTheLabsOwnOverridesTheBuiltInOne(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	before := b.scheduleVersion()
	d := process(t, "c-41").ProcessDefinition
	d.Name = "Colour negative, our way"
	fresh := d
	fresh.Code = "c-41-short"
	add := func(d chemistry.ProcessDefinition) chemistry.Process {
		t.Helper()
		var p chemistry.Process
		b.do(func(ctx context.Context, tx pgx.Tx) (err error) {
			p, err = chemistry.AddProcess(ctx, tx, b.scope, d)
			return err
		})
		return p
	}
	if p := add(d); p.Version != 2 || p.BuiltIn {
		t.Errorf("over a built-in process: version %d, built in %v", p.Version, p.BuiltIn)
	}
	if p := add(d); p.Version != 3 {
		t.Errorf("once more: version %d", p.Version)
	}
	if p := add(fresh); p.Version != 1 || p.BuiltIn {
		t.Errorf("a new code: version %d, built in %v", p.Version, p.BuiltIn)
	}
	if got := b.scheduleVersion(); got != before+3 {
		t.Errorf("the lab was touched %d times", got-before)
	}
	for _, c := range []struct {
		lab, code string
		version   int64
		want      int64
		name      string
	}{
		{"lab_a", "c-41", 0, 3, d.Name},
		{"lab_a", "c-41", 2, 2, d.Name},
		{"lab_a", "c-41", 1, 1, "Colour negative C-41"},
		{"lab_a", "c-41-short", 0, 1, d.Name},
		{"lab_b", "c-41", 0, 1, "Colour negative C-41"},
	} {
		b.do(func(ctx context.Context, tx pgx.Tx) error {
			p, err := chemistry.FindProcess(ctx, tx, c.lab, c.code, c.version)
			if err == nil && (p.Version != c.want || p.Name != c.name || p.BuiltIn != (c.name != d.Name)) {
				t.Errorf("%s %s version %d: %q version %d, built in %v", c.lab, c.code, c.version, p.Name, p.Version, p.BuiltIn)
			}
			return err
		})
	}
	for _, c := range []struct {
		lab, code string
		version   int64
	}{{"lab_a", "c-41", 4}, {"lab_b", "c-41", 2}, {"lab_b", "c-41-short", 0}, {"lab_a", "k-14", 0}} {
		b.refused("not-found", func(ctx context.Context, tx pgx.Tx) error {
			_, err := chemistry.FindProcess(ctx, tx, c.lab, c.code, c.version)
			return err
		})
	}
	b.refused("invalid", func(ctx context.Context, tx pgx.Tx) error {
		_, err := chemistry.AddProcess(ctx, tx, b.scope, chemistry.ProcessDefinition{})
		return err
	})
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		all, err := chemistry.Processes(ctx, tx, "lab_a")
		if err == nil && (len(all) != 7 || all[2].Version != 3 || all[6].Code != "c-41-short") {
			t.Errorf("%d processes, C-41 at version %d", len(all), all[2].Version)
		}
		return err
	})
}

// What is stored is what was given, to the last field.
func TestAProcessComesBackWhole(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	for _, builtIn := range chemistry.BuiltInProcesses() {
		b.do(func(ctx context.Context, tx pgx.Tx) error {
			if _, err := chemistry.AddProcess(ctx, tx, b.scope, builtIn.ProcessDefinition); err != nil {
				return err
			}
			got, err := chemistry.FindProcess(ctx, tx, "lab_a", builtIn.Code, 0)
			if err != nil {
				return err
			}
			same(t, got.ProcessDefinition, builtIn.ProcessDefinition)
			if got.Pushes == nil || builtIn.Pushes == nil {
				t.Errorf("%s: its pushes are null in JSON", builtIn.Code)
			}
			return nil
		})
	}
}
