package testdb

import (
	"context"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"
	"github.com/jackc/pgx/v5/pgxpool"
)

// maxConns is small, because many tests share one server, and big enough for
// tests that race some transactions against each other.
const maxConns = 8

// open makes the pool of one test.
func open(ctx context.Context, url string) (*pgxpool.Pool, error) {
	config, err := pgxpool.ParseConfig(url)
	if err != nil {
		return nil, err
	}
	config.MaxConns = maxConns
	config.AfterConnect = func(_ context.Context, conn *pgx.Conn) error {
		scanUTC(conn.TypeMap())
		return nil
	}
	return pgxpool.NewWithConfig(context.WithoutCancel(ctx), config)
}

// scanUTC makes instants, alone and in ranges and arrays, arrive in UTC rather
// than in the zone of the machine.
func scanUTC(types *pgtype.Map) {
	instant := &pgtype.Type{Name: "timestamptz", OID: pgtype.TimestamptzOID,
		Codec: &pgtype.TimestamptzCodec{ScanLocation: time.UTC}}
	span := &pgtype.Type{Name: "tstzrange", OID: pgtype.TstzrangeOID,
		Codec: &pgtype.RangeCodec{ElementType: instant}}
	for _, t := range []*pgtype.Type{
		instant, span,
		{Name: "_timestamptz", OID: pgtype.TimestamptzArrayOID, Codec: &pgtype.ArrayCodec{ElementType: instant}},
		{Name: "_tstzrange", OID: pgtype.TstzrangeArrayOID, Codec: &pgtype.ArrayCodec{ElementType: span}},
		{Name: "tstzmultirange", OID: pgtype.TstzmultirangeOID, Codec: &pgtype.MultirangeCodec{ElementType: span}},
	} {
		types.RegisterType(t)
	}
}

// closePool waits for the connections that the test still has.
func closePool(tb testing.TB, pool *pgxpool.Pool) {
	closed := make(chan struct{})
	go func() {
		pool.Close()
		close(closed)
	}()
	select {
	case <-closed:
	case <-time.After(10 * time.Second):
		tb.Errorf("testdb: %d connections were not given back to the pool", pool.Stat().AcquiredConns())
	}
}
