package database_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"

	"wetside/deploy/testdb"
	"wetside/lab/database"
)

// A counted store notes each retry and does not pause for it.
type counted struct {
	*database.Store
	pool   *pgxpool.Pool
	mu     sync.Mutex
	states []string
}

func newStore(t *testing.T) *counted {
	t.Helper()
	c := &counted{pool: testdb.New(t)}
	c.Store = database.NewStore(c.pool, func(state string) {
		c.mu.Lock()
		defer c.mu.Unlock()
		c.states = append(c.states, state)
	})
	c.Pause = func(ctx context.Context, _ int) error { return ctx.Err() }
	c.exec(t, `CREATE TABLE tries (n int PRIMARY KEY)`, `GRANT ALL ON tries TO wetside_app`)
	return c
}

func (c *counted) exec(t *testing.T, statements ...string) {
	t.Helper()
	for _, sql := range statements {
		if _, err := c.pool.Exec(t.Context(), sql); err != nil {
			t.Fatal(err)
		}
	}
}

func (c *counted) rows(t *testing.T) (n int) {
	t.Helper()
	if err := c.pool.QueryRow(t.Context(), `SELECT count(*) FROM tries`).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

func TestTransactionsBeginAgain(t *testing.T) {
	t.Parallel()
	unique := &pgconn.PgError{Code: "23505", Message: "made up"}
	for _, row := range []struct {
		state string
		fails int
		tries int
		want  error
	}{
		{"40001", 2, 3, nil},
		{"40P01", 4, 5, nil},
		{"40P01", 99, 5, database.ErrBusy},
		{"55P03", 1, 1, database.ErrBusy}, // has waited long enough
		{"57014", 1, 1, database.ErrBusy},
		{"23505", 1, 1, unique}, // would only fail again
	} {
		t.Run(fmt.Sprintf("%s %d times", row.state, row.fails), func(t *testing.T) {
			t.Parallel()
			s := newStore(t)
			tries := 0
			err := s.InTx(t.Context(), database.Writing, "", func(tx pgx.Tx) error {
				tries++
				if _, err := tx.Exec(t.Context(), `INSERT INTO tries VALUES ($1)`, tries); err != nil {
					return err
				}
				if tries > row.fails {
					return nil
				}
				if row.state == "23505" {
					return unique
				}
				return fmt.Errorf("in a handler: %w", &pgconn.PgError{Code: row.state})
			})
			if !errors.Is(err, row.want) || (row.want == nil) != (err == nil) || tries != row.tries || len(s.states) != row.tries-1 {
				t.Errorf("%d tries, retried for %v, then %v", tries, s.states, err)
			}
			// What was tried and failed has left nothing.
			if n, want := s.rows(t), 0; n != want && (err != nil || n != 1) {
				t.Errorf("%d rows are left", n)
			}
		})
	}
}

// Two transactions that take two rows in opposite order: PostgreSQL ends one
// of them, and both come through. The one that begins again may be faster than
// the one it made way for, and meet it again.
func TestDeadlockIsNobodysProblem(t *testing.T) {
	t.Parallel()
	s := newStore(t)
	s.Pause = database.NewStore(s.pool, nil).Pause
	s.exec(t, `INSERT INTO tries VALUES (1), (2)`)
	var met, done sync.WaitGroup
	met.Add(2)
	for _, order := range [][2]int{{1, 2}, {2, 1}} {
		done.Go(func() {
			var first atomic.Bool
			err := s.InTx(t.Context(), database.Writing, "", func(tx pgx.Tx) error {
				for i, n := range order {
					if _, err := tx.Exec(t.Context(), `SELECT FROM tries WHERE n = $1 FOR UPDATE`, n); err != nil {
						return err
					}
					if i == 0 && first.CompareAndSwap(false, true) {
						met.Done()
						met.Wait()
					}
				}
				return nil
			})
			if err != nil {
				t.Error(err)
			}
		})
	}
	done.Wait()
	if len(s.states) == 0 || slices.ContainsFunc(s.states, func(state string) bool { return state != "40P01" }) {
		t.Errorf("retried for %v", s.states)
	}
}

// A connection that died in the pool is not the caller's problem, one that
// dies under f is: f may have been half done.
func TestADeadConnectionIsReplaced(t *testing.T) {
	t.Parallel()
	s := newStore(t)
	kill := func() { // every other connection to this database
		conn, err := pgx.ConnectConfig(t.Context(), s.pool.Config().ConnConfig)
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = conn.Close(t.Context()) }()
		_, err = conn.Exec(t.Context(), `SELECT pg_terminate_backend(pid, 5000) FROM pg_stat_activity
			WHERE datname = current_database() AND pid <> pg_backend_pid()`)
		if err != nil {
			t.Fatal(err)
		}
	}
	nothing := func(pgx.Tx) error { return nil }
	if err := s.InTx(t.Context(), database.Writing, "", nothing); err != nil {
		t.Fatal(err)
	}
	kill()
	if err := s.InTx(t.Context(), database.Writing, "", nothing); err != nil {
		t.Errorf("the pool gave out a dead connection: %v", err)
	}
	err := s.InTx(t.Context(), database.Writing, "", func(tx pgx.Tx) error {
		kill()
		_, err := tx.Exec(t.Context(), `SELECT`)
		return err
	})
	if !database.Gone(err) {
		t.Errorf("the connection died under the transaction: %v", err)
	}
}

// A constraint that is held against at the commit, or a failed statement whose
// error was passed over, must not pass for success.
func TestACommitThatFailsIsAFailure(t *testing.T) {
	t.Parallel()
	s := newStore(t)
	err := s.InTx(t.Context(), database.Writing, "", func(tx pgx.Tx) error {
		_, _ = tx.Exec(t.Context(), `SELECT 1/0`)
		return nil
	})
	if !errors.Is(err, pgx.ErrTxCommitRollback) {
		t.Errorf("commit of a failed transaction: %v", err)
	}
}

// The deadline passes while the commit is under way: it may get through.
func TestACommitWithoutAnAnswerPromisesNothing(t *testing.T) {
	t.Parallel()
	s := newStore(t)
	s.exec(t,
		`CREATE FUNCTION slowly() RETURNS trigger LANGUAGE plpgsql AS 'BEGIN PERFORM pg_sleep(2); RETURN NULL; END'`,
		`CREATE CONSTRAINT TRIGGER slowly AFTER INSERT ON tries DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION slowly()`)
	ctx, cancel := context.WithTimeout(t.Context(), 700*time.Millisecond)
	defer cancel()
	err := s.InTx(ctx, database.Writing, "", func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `INSERT INTO tries VALUES (1)`)
		return err
	})
	if !errors.Is(err, database.ErrUnknownOutcome) || !database.Gone(err) {
		t.Errorf("the caller is told %v", err)
	}
}

// A caller who goes away must not cost a connection: the rollback still
// reaches the server.
func TestACallerWhoGoesLeavesNothingBehind(t *testing.T) {
	t.Parallel()
	s := newStore(t)
	before := s.pool.Stat().NewConnsCount()
	ctx, leave := context.WithCancel(t.Context())
	err := s.InTx(ctx, database.Writing, "", func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, `INSERT INTO tries VALUES (1)`); err != nil {
			return err
		}
		leave()
		return ctx.Err()
	})
	if !errors.Is(err, context.Canceled) || s.rows(t) != 0 || s.pool.Stat().NewConnsCount() != before {
		t.Errorf("%v; %d rows, %d connections made anew", err, s.rows(t), s.pool.Stat().NewConnsCount()-before)
	}
}

// A pool whose connections are all taken fails those who wait, soon.
func TestAFullPoolSaysSo(t *testing.T) {
	t.Parallel()
	s := newStore(t)
	for range s.pool.Config().MaxConns {
		conn, err := s.pool.Acquire(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Release()
	}
	began := time.Now()
	err := s.InTx(t.Context(), database.Writing, "", func(pgx.Tx) error { t.Error("began"); return nil })
	if took := time.Since(began); !errors.Is(err, database.ErrNoConnection) || !database.Gone(err) || took > 2*database.AcquireWait {
		t.Errorf("after %v: %v", took, err)
	}
}

// Role, lab and time-outs hold within the transaction, and go with it: the
// next user of the connection finds nothing of them.
func TestATransactionWorksInOneLabAsTheRoleThatOwnsNothing(t *testing.T) {
	t.Parallel()
	s := newStore(t)
	const query = `SELECT concat_ws(' ', current_user, '«' || current_setting('wetside.lab', true) || '»',
		current_setting('statement_timeout'), current_setting('lock_timeout'), current_setting('idle_in_transaction_session_timeout'))`
	outside := func() (got string) {
		if err := s.pool.QueryRow(t.Context(), query).Scan(&got); err != nil {
			t.Fatal(err)
		}
		return got
	}
	for lab, in := range map[string]string{
		"lab_1": "lab_1", "": "", `l'ab "2`: `l'ab "2`, `', true); DROP TABLE tries; --`: `', true); DROP TABLE tries; --`,
		`\', true); DROP TABLE tries; --`: "", "lab\x001": "", "lab\xff": "", // names of nothing
	} {
		for _, opts := range []pgx.TxOptions{database.Reading, database.Writing} {
			var got, entered string
			err := s.InTx(t.Context(), opts, lab, func(tx pgx.Tx) error {
				if err := tx.QueryRow(t.Context(), query).Scan(&got); err != nil {
					return err
				}
				if err := database.InLab(t.Context(), tx, "lab_3"); err != nil {
					return err
				}
				return tx.QueryRow(t.Context(), query).Scan(&entered)
			})
			if want := "wetside_app «" + in + "» 8s 4s 15s"; err != nil || got != want || !strings.Contains(entered, " «lab_3» ") {
				t.Errorf("%s, then %s, want %s: %v", got, entered, want, err)
			}
		}
		if got := outside(); strings.Contains(got, "wetside_app") || !strings.HasSuffix(got, " «» 0 0 0") {
			t.Errorf("afterwards: %s", got)
		}
	}
	err := s.InTx(t.Context(), database.Reading, "", func(tx pgx.Tx) error {
		_, err := tx.Exec(t.Context(), `INSERT INTO tries VALUES (1)`)
		return err
	})
	if err == nil || s.rows(t) != 0 {
		t.Errorf("a transaction for reading wrote: %v", err)
	}
}
