package database

import (
	"context"
	"errors"
	"fmt"
	"iter"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// Together runs functions that each read or write by the transaction, and sends
// what they ask for to the database together: the first statement of every
// function in one round trip, in the order of the functions, then the second
// ones, and so on. A function goes on when its answer is there; no two run at
// once, so they may write to the same variables. It fails with the first error,
// in the order of the functions.
//
// To a function the transaction can Query, QueryRow and Exec, and must be done
// with an answer's rows before it asks for more.
func Together(ctx context.Context, tx pgx.Tx, fs ...func(pgx.Tx) error) error {
	var waiting []*part
	errs := make([]error, len(fs))
	for i, f := range fs {
		p := &part{}
		p.resume, p.stop = iter.Pull(func(yield func(*statement) bool) {
			errs[i] = f(&gathering{Tx: tx, ask: yield})
		})
		defer p.stop()
		if p.goOn() {
			waiting = append(waiting, p)
		}
	}
	for len(waiting) > 0 {
		waiting = round(ctx, tx, waiting)
	}
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// A part is one function under way, and the statement that it waits for.
type part struct {
	resume func() (*statement, bool)
	stop   func()
	asks   *statement
}

// goOn runs the function until it asks for something; false once it has ended.
func (p *part) goOn() (more bool) {
	p.asks, more = p.resume()
	return more
}

type statement struct {
	sql  string
	args []any
	exec bool

	rows pgx.Rows
	tag  pgconn.CommandTag
	err  error
}

// round sends what the parts ask for, lets each go on with its answer, and says
// which ask for more.
func round(ctx context.Context, tx pgx.Tx, waiting []*part) (more []*part) {
	var batch pgx.Batch
	for _, p := range waiting {
		batch.Queue(p.asks.sql, p.asks.args...)
	}
	answers := tx.SendBatch(ctx, &batch)
	for _, p := range waiting {
		s := p.asks
		if s.exec {
			s.tag, s.err = answers.Exec()
		} else {
			s.rows, s.err = answers.Query()
		}
		if p.goOn() {
			more = append(more, p)
		}
		if s.rows != nil {
			s.rows.Close()
		}
	}
	_ = answers.Close() // what went wrong was told where it was asked for
	return more
}

// gathering is the transaction as a function of Together has it.
type gathering struct {
	pgx.Tx
	ask func(*statement) bool
}

var errTogether = errors.New("not within Together")

// wait has a statement sent; false where its function is to end.
func (g *gathering) wait(s *statement) {
	if !g.ask(s) {
		s.err = errTogether
	}
}

func (g *gathering) Query(_ context.Context, sql string, args ...any) (pgx.Rows, error) {
	s := &statement{sql: sql, args: args}
	g.wait(s)
	return s.rows, s.err
}

func (g *gathering) QueryRow(ctx context.Context, sql string, args ...any) pgx.Row {
	rows, err := g.Query(ctx, sql, args...)
	return &oneRow{rows, err}
}

func (g *gathering) Exec(_ context.Context, sql string, args ...any) (pgconn.CommandTag, error) {
	s := &statement{sql: sql, args: args, exec: true}
	g.wait(s)
	return s.tag, s.err
}

// Begin, Commit, Rollback and SendBatch are not a function's to call.
func (*gathering) Begin(context.Context) (pgx.Tx, error) { return nil, errTogether }

// Commit fails.
func (*gathering) Commit(context.Context) error { return errTogether }

// Rollback fails.
func (*gathering) Rollback(context.Context) error { return errTogether }

// oneRow is the first of some rows, as pgx gives it.
type oneRow struct {
	rows pgx.Rows
	err  error
}

func (r *oneRow) Scan(dest ...any) error {
	if r.err != nil {
		return r.err
	}
	defer r.rows.Close()
	if !r.rows.Next() {
		if err := r.rows.Err(); err != nil {
			return err
		}
		return pgx.ErrNoRows
	}
	if err := r.rows.Scan(dest...); err != nil {
		return fmt.Errorf("scan: %w", err)
	}
	r.rows.Close()
	return r.rows.Err()
}
