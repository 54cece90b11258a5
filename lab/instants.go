package lab

import (
	"time"

	"github.com/jackc/pgx/v5/pgtype"
)

// ScanUTC makes instants, alone and in ranges and arrays, arrive from
// PostgreSQL in UTC rather than in the zone of the machine. Every pool calls it
// for each new connection's types.
func ScanUTC(types *pgtype.Map) {
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
