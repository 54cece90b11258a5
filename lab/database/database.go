// Package database runs functions in transactions: as the role that owns
// nothing, within one lab, in bounded time, and again where PostgreSQL asks
// for that.
package database

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
)

// AcquireWait is how long a transaction waits for a connection, so that a full
// pool fails its callers soon instead of piling them up.
const AcquireWait = 2 * time.Second

const (
	lockWait      = 4 * time.Second
	statementTime = 8 * time.Second
	rollbackTime  = 5 * time.Second
	usualTime     = 15 * time.Second // of callers without a deadline
)

var (
	// Reading is for transactions that only read: they see one moment.
	Reading = pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly}
	// Writing is for all others. They run read committed: what they decide on is
	// held by the lab's row lock (lab.Lock), behind which they must see what was
	// committed meanwhile.
	Writing = pgx.TxOptions{IsoLevel: pgx.ReadCommitted, AccessMode: pgx.ReadWrite}
)

var (
	// ErrBusy means that others held what was needed for too long; nothing was changed.
	ErrBusy = errors.New("others are changing the same things")
	// ErrNoConnection means that the transaction never began.
	ErrNoConnection = errors.New("no database connection")
	// ErrUnknownOutcome is a commit to which no answer came: it may have got through.
	ErrUnknownOutcome = errors.New("commit without an answer")
)

// A Store runs functions in transactions. Functions get the transaction and
// never the pool: a second connection taken while holding one deadlocks the
// pool once enough callers do it together.
type Store struct {
	pool    *pgxpool.Pool
	retried func(sqlState string)
	// Pause waits before the given try, and fails when ctx is done; tests set it.
	Pause func(ctx context.Context, try int) error
	// Rehearse, set by tests, has every transaction rolled back at its end as if
	// it had been committed.
	Rehearse bool
}

// NewStore makes a store on a pool. retried, unless nil, hears of every
// transaction that begins again: the SQLSTATE that asked for it, or "" for a
// connection that was found dead.
func NewStore(pool *pgxpool.Pool, retried func(sqlState string)) *Store {
	if retried == nil {
		retried = func(string) {}
	}
	return &Store{pool: pool, retried: retried, Pause: jitter}
}

// InLab has the rest of a transaction see and write what is of the lab labID,
// and nothing of any other lab. It is for those who learn only within a
// transaction which lab they act in, by a secret that is of one lab.
func InLab(ctx context.Context, tx pgx.Tx, labID string) error {
	if _, err := tx.Exec(ctx, `SELECT set_config('wetside.lab', $1, true)`, labID); err != nil {
		return fmt.Errorf("enter lab: %w", err)
	}
	return nil
}
