package api

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
)

// How long things may take. A request waits for a connection no longer than
// acquireWait, so that a full pool answers 503 instead of piling up callers.
const (
	acquireWait   = 2 * time.Second
	lockWait      = 4 * time.Second
	statementTime = 8 * time.Second
	rollbackTime  = 5 * time.Second
	usualTime     = 15 * time.Second

	maxTries  = 5
	firstWait = 10 * time.Millisecond
	lastWait  = 200 * time.Millisecond
)

// A store runs functions in transactions. Functions get the transaction and
// never the pool: a second connection taken while holding one deadlocks the
// pool once enough requests do it together.
type store struct {
	pool    *pgxpool.Pool
	retried func(sqlState string)
	pause   func(ctx context.Context, try int) error
}

var (
	reading = pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly}
	// Writes run read committed: what they decide on is held by the lab's row
	// lock (lab.Lock), behind which they must see what was committed meanwhile.
	writing = pgx.TxOptions{IsoLevel: pgx.ReadCommitted, AccessMode: pgx.ReadWrite}
)

// inTx runs f in a transaction and commits it if f returns nil. On a
// serialization failure (40001) or a deadlock (40P01), in f or at the commit,
// and on a connection found dead before f began, all is done again from the
// start, up to five times with a growing random pause; then it fails with
// "busy". f must have no effect outside the transaction.
func (s *store) inTx(ctx context.Context, opts pgx.TxOptions, f func(pgx.Tx) error) error {
	var err error
	for try := 1; ; try++ {
		var begun bool
		if begun, err = s.once(ctx, opts, f); err == nil {
			return nil
		}
		state := sqlState(err)
		stale := !begun && databaseGone(err) && ctx.Err() == nil && !errors.Is(err, errNoConnection)
		if state != "40001" && state != "40P01" && !stale {
			return busyIfWaited(err, state)
		}
		if try == maxTries {
			break
		}
		s.retried(state)
		if perr := s.pause(ctx, try); perr != nil {
			return err
		}
	}
	return busyIfWaited(err, "40001")
}

var (
	errNoConnection = errors.New("no database connection")
	// errUnknownOutcome is a commit to which no answer came: it may have got through.
	errUnknownOutcome = errors.New("commit without an answer")
)

func (s *store) once(ctx context.Context, opts pgx.TxOptions, f func(pgx.Tx) error) (begun bool, err error) {
	waiting, stop := context.WithTimeout(ctx, acquireWait)
	conn, err := s.pool.Acquire(waiting)
	stop()
	if err != nil {
		return false, fmt.Errorf("%w: %w", errNoConnection, err)
	}
	defer conn.Release()
	tx, err := conn.BeginTx(ctx, opts)
	if err != nil {
		return false, fmt.Errorf("begin: %w", err)
	}
	defer func() {
		// The caller may have gone; the rollback must reach the server all
		// the same, or the connection is thrown away. After a commit it does nothing.
		after, cancel := context.WithTimeout(context.WithoutCancel(ctx), rollbackTime)
		defer cancel()
		_ = tx.Rollback(after)
	}()
	// The role owns nothing: within a request nobody can change what is in the books.
	_, err = tx.Exec(ctx, `SELECT set_config('role', 'wetside_app', true),
		set_config('statement_timeout', $1, true),
		set_config('lock_timeout', $2, true),
		set_config('idle_in_transaction_session_timeout', $3, true)`,
		milliseconds(statementTime), milliseconds(lockWait), milliseconds(timeLeft(ctx)))
	if err != nil {
		return false, fmt.Errorf("set role and timeouts: %w", err)
	}
	if err := f(tx); err != nil {
		return true, err
	}
	if err := tx.Commit(ctx); err != nil && sqlState(err) == "" && !errors.Is(err, pgx.ErrTxCommitRollback) {
		return true, fmt.Errorf("%w: %w", errUnknownOutcome, err)
	} else if err != nil {
		return true, fmt.Errorf("commit: %w", err)
	}
	return true, nil
}

// timeLeft is how long the request still has, for a session left idle.
func timeLeft(ctx context.Context) time.Duration {
	if deadline, ok := ctx.Deadline(); ok {
		return max(time.Until(deadline), time.Second)
	}
	return usualTime
}

func milliseconds(d time.Duration) string { return fmt.Sprintf("%dms", d.Milliseconds()) }

// jitter pauses for a random part of a span that doubles with each try.
func jitter(ctx context.Context, try int) error {
	span := min(firstWait<<try, lastWait)
	timer := time.NewTimer(rand.N(span))
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// sqlState is the SQLSTATE in err's chain, or "".
func sqlState(err error) string {
	var pg *pgconn.PgError
	if errors.As(err, &pg) {
		return pg.Code
	}
	return ""
}

// busyIfWaited is a 503 for errors that mean others held what was needed for
// too long; other errors it leaves as they are.
func busyIfWaited(err error, state string) error {
	switch state {
	case "40001", "40P01", "55P03", "57014":
		return &failure{status: http.StatusServiceUnavailable, code: "busy",
			detail: "others are changing the same things at this moment; nothing was changed",
			header: map[string]string{"Retry-After": "1"}}
	}
	return err
}

// databaseGone says whether err means that the database cannot be reached, or
// not now: no connection, a broken one, a server that starts, stops or is full.
func databaseGone(err error) bool {
	var connect *pgconn.ConnectError
	var network net.Error
	switch state := sqlState(err); {
	case state != "":
		return strings.HasPrefix(state, "08") || strings.HasPrefix(state, "53") || strings.HasPrefix(state, "57P")
	case errors.Is(err, errNoConnection), errors.Is(err, errUnknownOutcome), errors.As(err, &connect), errors.As(err, &network),
		errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, net.ErrClosed):
		return true
	default:
		// pgx has no sentinel for a connection that broke in an earlier statement.
		return err != nil && strings.Contains(err.Error(), "conn closed")
	}
}
