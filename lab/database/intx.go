package database

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// How often a transaction is tried, and how long the pauses between may be.
const (
	maxTries  = 5
	firstWait = 10 * time.Millisecond
	lastWait  = 200 * time.Millisecond
)

// InTx runs f in a transaction and commits it if f returns nil. The transaction
// works as the role wetside_app, and within the lab labID: rows of other labs
// are not there for it. With labID "" no lab's are.
//
// On a serialization failure (40001) or a deadlock (40P01), in f or at the
// commit, and on a connection found dead before f began, all is done again from
// the start, up to five times with a growing random pause. f must have no effect
// outside the transaction. InTx fails with ErrBusy where waiting did not help,
// with ErrNoConnection and ErrUnknownOutcome, and with what f fails with.
func (s *Store) InTx(ctx context.Context, opts pgx.TxOptions, labID string, f func(pgx.Tx) error) error {
	var err error
	for try := 1; ; try++ {
		var begun bool
		if begun, err = s.once(ctx, opts, labID, f); err == nil {
			return nil
		}
		state := sqlState(err)
		stale := !begun && Gone(err) && ctx.Err() == nil && !errors.Is(err, ErrNoConnection)
		if state != "40001" && state != "40P01" && !stale {
			return busyIfWaited(err, state)
		}
		if try == maxTries {
			break
		}
		s.retried(state)
		if perr := s.Pause(ctx, try); perr != nil {
			return err
		}
	}
	return busyIfWaited(err, "40001")
}

func (s *Store) once(ctx context.Context, opts pgx.TxOptions, labID string, f func(pgx.Tx) error) (begun bool, err error) {
	waiting, stop := context.WithTimeout(ctx, AcquireWait)
	conn, err := s.pool.Acquire(waiting)
	stop()
	if err != nil {
		return false, fmt.Errorf("%w: %w", ErrNoConnection, err)
	}
	defer conn.Release()
	opts.BeginQuery = begin(opts, labID, timeLeft(ctx))
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
	if err := f(tx); err != nil {
		return true, err
	}
	if s.Rehearse {
		return true, nil
	}
	if err := tx.Commit(ctx); err != nil && sqlState(err) == "" && !errors.Is(err, pgx.ErrTxCommitRollback) {
		return true, fmt.Errorf("%w: %w", ErrUnknownOutcome, err)
	} else if err != nil {
		return true, fmt.Errorf("commit: %w", err)
	}
	return true, nil
}

// begin is what begins a transaction, in one round trip. The role owns nothing:
// nobody can change what is in the books.
func begin(opts pgx.TxOptions, labID string, left time.Duration) string {
	return fmt.Sprintf(`BEGIN ISOLATION LEVEL %s %s; SELECT set_config('role', 'wetside_app', true),
		set_config('wetside.lab', %s, true),
		set_config('statement_timeout', '%dms', true),
		set_config('lock_timeout', '%dms', true),
		set_config('idle_in_transaction_session_timeout', '%dms', true)`, opts.IsoLevel, opts.AccessMode,
		literal(labID), statementTime.Milliseconds(), lockWait.Milliseconds(), left.Milliseconds())
}

// literal is an id in SQL, where a value cannot be bound. What PostgreSQL cannot
// take as text, or might take for more than text, is the name of nothing.
func literal(id string) string {
	if !utf8.ValidString(id) || strings.ContainsAny(id, "\\\x00") {
		return "''"
	}
	return "'" + strings.ReplaceAll(id, "'", "''") + "'"
}

// timeLeft is how long the caller still has, for a session left idle.
func timeLeft(ctx context.Context) time.Duration {
	if deadline, ok := ctx.Deadline(); ok {
		return max(time.Until(deadline), time.Second)
	}
	return usualTime
}

// jitter pauses for a random part of a span that doubles with each try.
func jitter(ctx context.Context, try int) error {
	span := min(firstWait<<try, lastWait)
	timer := time.NewTimer(rand.N(span)) // #nosec G404 -- a pause is no secret
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

// busyIfWaited is ErrBusy for errors that mean others held what was needed for
// too long; other errors it leaves as they are.
func busyIfWaited(err error, state string) error {
	switch state {
	case "40001", "40P01", "55P03", "57014":
		return fmt.Errorf("%w: %w", ErrBusy, err)
	}
	return err
}

// Gone says whether err means that the database cannot be reached, or
// not now: no connection, a broken one, a server that starts, stops or is full.
func Gone(err error) bool {
	var connect *pgconn.ConnectError
	var network net.Error
	switch state := sqlState(err); {
	case state != "":
		return strings.HasPrefix(state, "08") || strings.HasPrefix(state, "53") || strings.HasPrefix(state, "57P")
	case errors.Is(err, ErrNoConnection), errors.Is(err, ErrUnknownOutcome), errors.As(err, &connect), errors.As(err, &network),
		errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, net.ErrClosed):
		return true
	default:
		// pgx has no sentinel for a connection that broke in an earlier statement.
		return err != nil && strings.Contains(err.Error(), "conn closed")
	}
}
