package main

import (
	"context"
	"slices"
	"sync"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"wetside/lab"
)

// A said is a statement with its values, and whether the one after it was sent
// along without waiting.
type said struct {
	sql   string
	args  []any
	along bool
}

// A listener notes what is sent to the database, in order.
type listener struct {
	mu    sync.Mutex
	heard []said
}

func (l *listener) hear(s said) {
	l.mu.Lock()
	defer l.mu.Unlock()
	s.args = slices.Clone(s.args)
	l.heard = append(l.heard, s)
}

// take gives what was heard since it was called last.
func (l *listener) take() []said {
	l.mu.Lock()
	defer l.mu.Unlock()
	heard := l.heard
	l.heard = nil
	return heard
}

// TraceQueryStart is pgx's call before each statement.
func (l *listener) TraceQueryStart(ctx context.Context, _ *pgx.Conn, q pgx.TraceQueryStartData) context.Context {
	l.hear(said{sql: q.SQL, args: q.Args})
	return ctx
}

// TraceQueryEnd is pgx's call after each statement.
func (*listener) TraceQueryEnd(context.Context, *pgx.Conn, pgx.TraceQueryEndData) {}

// TraceBatchStart is pgx's call before statements that are sent together.
func (*listener) TraceBatchStart(ctx context.Context, _ *pgx.Conn, _ pgx.TraceBatchStartData) context.Context {
	return ctx
}

// TraceBatchQuery is pgx's call after each of them.
func (l *listener) TraceBatchQuery(_ context.Context, _ *pgx.Conn, q pgx.TraceBatchQueryData) {
	l.hear(said{sql: q.SQL, args: q.Args, along: true})
}

// TraceBatchEnd is pgx's call after all of them.
func (l *listener) TraceBatchEnd(context.Context, *pgx.Conn, pgx.TraceBatchEndData) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if n := len(l.heard); n > 0 {
		l.heard[n-1].along = false
	}
}

// hear has an API do a work in the first lab of each client, and gives pgbench's
// scripts of what it sends to the database. There is one script for each client,
// of one session: another would have its statements prepared and planned anew,
// where a server prepares them once for all labs.
func hear(ctx context.Context, url string, labs []*atLab, w work) ([]*script, error) {
	config, err := pgxpool.ParseConfig(url)
	if err != nil {
		return nil, err
	}
	l := &listener{}
	config.ConnConfig.Tracer = l
	config.MaxConns = 2 // the check of the migrations takes one and a lock
	config.AfterConnect = func(_ context.Context, conn *pgx.Conn) error {
		lab.ScanUTC(conn.TypeMap())
		return nil
	}
	pool, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return nil, err
	}
	s, err := here(ctx, pool)
	if err != nil {
		pool.Close()
		return nil, err
	}
	defer func() { _ = s.stop() }()
	c, err := dial(s.address)
	if err != nil {
		return nil, err
	}
	defer c.close()
	if _, err := w.do(c, labs[0], labs[0].Sessions[0]); err != nil { // what a server reads once
		return nil, err
	}
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		return nil, err
	}
	defer func() { _ = conn.Close(ctx) }()
	write := &writer{conn: conn, types: map[uint32]string{}, params: map[string][]uint32{}}
	var scripts []*script
	for i := 0; i < len(labs); i += labsEach {
		l.take()
		if _, err := w.do(c, labs[i], labs[i].Sessions[0]); err != nil {
			return nil, err
		}
		out, err := write.script(ctx, l.take())
		if err != nil {
			return nil, err
		}
		scripts = append(scripts, out)
	}
	return scripts, nil
}
