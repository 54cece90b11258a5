package shares_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/chemistry/shares"
	"wetside/lab"
)

// 32 clients record runs and close kits while backends are terminated and
// requests given up under their hands: in the end every run is recorded and
// charged once, every kit closed once, and the books balance.
func TestUnderKills(t *testing.T) {
	t.Parallel()
	const clients, kits, runsPerKit = 32, 8, 12
	b := openBooks(t)
	st := &storm{b: b}
	for range kits {
		st.kits = append(st.kits, b.buy(b.newKit()))
	}
	for _, kit := range st.kits {
		for range runsPerKit {
			st.plan(kit)
		}
	}
	stop := make(chan struct{})
	var killers, wg sync.WaitGroup
	killers.Go(func() { st.terminate(stop, 10*time.Millisecond) })
	for i := range clients {
		wg.Go(func() { st.client(rand.New(rand.NewPCG(uint64(i), 7))) })
	}
	wg.Wait()
	close(stop)
	killers.Wait()

	count := func(sql string) (n int64) {
		t.Helper()
		if err := b.pool.QueryRow(t.Context(), sql).Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	for _, c := range []struct {
		what, sql string
		want      int64
	}{
		{"runs recorded", `SELECT count(*) FROM runs`, kits * runsPerKit},
		{"charges", `SELECT count(*) FROM entries WHERE kind = 'run_charge'`, kits * runsPerKit},
		{"runs charged", `SELECT count(DISTINCT run_id) FROM entries WHERE kind = 'run_charge'`, kits * runsPerKit},
		{"closings", `SELECT count(*) FROM entries WHERE kind = 'closing'`, kits},
		{"kits closed", `SELECT count(*) FROM kits WHERE closed_at IS NOT NULL`, kits},
		{"entries that do not balance", `SELECT count(*) FROM (SELECT FROM postings GROUP BY lab_id, entry_id HAVING sum(amount_minor) <> 0) x`, 0},
		{"entries without lines", `SELECT count(*) FROM entries e WHERE NOT EXISTS (SELECT FROM postings p WHERE p.entry_id = e.id)`, 0},
		{"sum of the books", `SELECT sum(amount_minor)::bigint FROM postings`, 0},
		{"left on kits", `SELECT coalesce(sum(abs(n)), 0)::bigint FROM (SELECT sum(amount_minor) n FROM postings WHERE account = 'kit' GROUP BY kit_id) x`, 0},
	} {
		if got := count(c.sql); got != c.want {
			t.Errorf("%s: %d, want %d", c.what, got, c.want)
		}
	}
	t.Logf("%d clients, %d runs on %d kits: %d attempts, %d given up, %d broken by %d terminated backends, %d came too late, %d refused for now",
		clients, kits*runsPerKit, kits, st.tries.Load(), st.givenUp.Load(), st.broken.Load(), st.killed.Load(), st.late.Load(), st.notYet.Load())
	if st.killed.Load() < 5 || st.broken.Load() == 0 || st.givenUp.Load() == 0 || st.late.Load() == 0 {
		t.Error("the storm was too weak to show anything")
	}
}

// A storm is what the clients are to do, and what came of their attempts.
type storm struct {
	b       *books
	kits    []string
	batches []planned

	tries, givenUp, broken, killed, late, notYet atomic.Int64
}

// planned is a batch that waits to be run.
type planned struct {
	batch string
	run   shares.Run
}

// plan puts a batch of three rolls down on a kit.
func (st *storm) plan(kit string) {
	b := st.b
	b.do(func(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
		batch, err := b.batch(ctx, tx, s, kit, "planned")
		if err != nil {
			return err
		}
		p := planned{batch: batch, run: shares.Run{ID: "run_" + batch, Kit: kit}}
		for i, owner := range []string{"mem_ann", "mem_bea", "mem_cyn"} {
			b.n++
			u := shares.RollUse{Roll: fmt.Sprintf("roll_%d", b.n), Member: owner, AreaMM2: roll / int64(i+3)}
			_, err := tx.Exec(ctx, `
				INSERT INTO rolls (lab_id, id, member_id, format, length_mm, process, push, trade_area_mm2,
					geometric_area_mm2, reel_kind, priority, handed_in_at, status)
				VALUES ('lab_1', $1, $2, '135-36', 1600, 'reversal-3', 0, $3, $3, 'spiral-35', 1, $4, 'batched')`,
				u.Roll, u.Member, u.AreaMM2, s.Now)
			if err != nil {
				return err
			}
			p.run.Rolls = append(p.run.Rolls, u)
		}
		st.batches = append(st.batches, p)
		return nil
	})
}

// client goes through all that is to be done, in an order of its own, until it
// has been told of each that it is done.
func (st *storm) client(random *rand.Rand) {
	jobs := []func(context.Context, pgx.Tx) error{}
	for _, p := range st.batches {
		jobs = append(jobs, func(ctx context.Context, tx pgx.Tx) error { return st.record(ctx, tx, p) })
	}
	for _, kit := range st.kits {
		jobs = append(jobs, func(ctx context.Context, tx pgx.Tx) error {
			_, err := shares.CloseKit(ctx, tx, st.b.s, kit, chemistry.UsedUp)
			return err
		})
	}
	for len(jobs) > 0 {
		i := random.IntN(len(jobs))
		if st.try(random, jobs[i]) {
			jobs = append(jobs[:i], jobs[i+1:]...)
		}
	}
}

// try makes one attempt, one in four of them by a caller who goes away in the
// middle, and says whether the job is done, by whomever.
func (st *storm) try(random *rand.Rand, job func(context.Context, pgx.Tx) error) bool {
	st.tries.Add(1)
	ctx := st.b.t.Context()
	if random.IntN(4) == 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, time.Duration(random.IntN(12))*time.Millisecond)
		defer cancel()
	}
	err := pgx.BeginFunc(ctx, st.b.pool, func(tx pgx.Tx) error { return job(ctx, tx) })
	switch code := lab.RefusalCode(err); {
	case err == nil:
		return true
	case code == "run-already-recorded" || code == "run-already-charged" || code == "kit-closed":
		st.late.Add(1)
		return true
	case code == "kit-has-open-batches":
		st.notYet.Add(1)
	case errors.Is(err, context.DeadlineExceeded) || errors.Is(err, context.Canceled):
		st.givenUp.Add(1)
	default:
		st.broken.Add(1)
	}
	return false
}

// record records a batch's run as package scheduling does: under the lab's lock, with the charge.
func (st *storm) record(ctx context.Context, tx pgx.Tx, p planned) error {
	s := st.b.s
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return err
	}
	_, err := tx.Exec(ctx, `
		INSERT INTO runs (lab_id, id, batch_id, outcome, started_at, ended_at, area_mm2, note, run_sheet, recorded_by, recorded_at)
		VALUES ('lab_1', $1, $2, 'done', $3, $3::timestamptz + interval '1 hour', 1, '', '{}', 'mem_tom', $3)`, p.run.ID, p.batch, s.Now)
	if lab.Violates(err, lab.UniqueViolation, "runs_once") || lab.Violates(err, lab.UniqueViolation, "runs_pkey") {
		return lab.Refuse(lab.Conflict, "run-already-recorded", "recorded")
	}
	if err != nil {
		return err
	}
	if _, err := tx.Exec(ctx, `UPDATE batches SET status = 'done' WHERE lab_id = 'lab_1' AND id = $1`, p.batch); err != nil {
		return err
	}
	return shares.ChargeRun(ctx, tx, s, p.run)
}

// terminate ends a backend of the test's database that is at work, every so often until stop.
func (st *storm) terminate(stop <-chan struct{}, every time.Duration) {
	conn, err := pgx.ConnectConfig(st.b.t.Context(), st.b.pool.Config().ConnConfig)
	if err != nil {
		st.b.t.Error(err)
		return
	}
	defer func() { _ = conn.Close(context.Background()) }()
	for {
		select {
		case <-stop:
			return
		case <-time.After(every):
		}
		var n int64
		err := conn.QueryRow(st.b.t.Context(), `
			SELECT count(*) FROM (SELECT pg_terminate_backend(pid) FROM (
				SELECT pid FROM pg_stat_activity
				WHERE datname = current_database() AND pid <> pg_backend_pid() AND state <> 'idle'
				ORDER BY random() LIMIT 1) AS one) AS killed`).Scan(&n)
		if err != nil {
			st.b.t.Error(err)
			return
		}
		st.killed.Add(n)
		every += every / 100 * time.Duration(n) // so that a slow machine gets done
	}
}
