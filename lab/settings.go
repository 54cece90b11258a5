package lab

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"

	"wetside/lab/units"
)

// Revision counts changes of the lab's own record.
func (l Lab) Revision() int64 { return l.Version }

// A Settings change is what a keeper may change of a lab; nil leaves a field
// as it is. The currency stays: the books are in it.
type Settings struct {
	Name                        *string            `json:"name"`
	TimeZone                    *string            `json:"time_zone"`
	AreaRule                    *AreaRule          `json:"area_rule"`
	DevelopingTolerancePermille *int64             `json:"developing_tolerance_permille"`
	RoomTemperature             *units.Temperature `json:"room_temperature"`
	HeaterEfficiencyPermille    *int64             `json:"heater_efficiency_permille"`
}

// Change changes the lab's settings, of which the caller has seen the given
// version; plans made before go stale. It refuses with Invalid and Stale.
func Change(ctx context.Context, tx pgx.Tx, s Scope, version int64, in Settings) (Lab, error) {
	l, err := Lock(ctx, tx, s.Lab.ID)
	if err != nil {
		return Lab{}, err
	}
	if l.Version != version {
		return Lab{}, errStale("lab")
	}
	l.Name = or(in.Name, l.Name)
	l.TimeZone = or(in.TimeZone, l.TimeZone)
	l.AreaRule = or(in.AreaRule, l.AreaRule)
	l.DevelopingTolerancePermille = or(in.DevelopingTolerancePermille, l.DevelopingTolerancePermille)
	l.RoomTemperature = or(in.RoomTemperature, l.RoomTemperature)
	l.HeaterEfficiencyPermille = or(in.HeaterEfficiencyPermille, l.HeaterEfficiencyPermille)
	r := Refuse(Invalid, "invalid", "the lab cannot be set like this")
	checkSettings(r, l)
	if err := r.OrNil(); err != nil {
		return Lab{}, err
	}
	if err := checkZone(l.TimeZone); err != nil {
		return Lab{}, err
	}
	changed, err := one[Lab](ctx, tx, `UPDATE labs
		SET name = $2, time_zone = $3, area_rule = $4, developing_tolerance_permille = $5,
			room_temperature_mc = $6, heater_efficiency_permille = $7,
			version = version + 1, schedule_version = schedule_version + 1
		WHERE id = $1
		RETURNING `+labColumns,
		l.ID, l.Name, l.TimeZone, l.AreaRule, l.DevelopingTolerancePermille,
		l.RoomTemperature, l.HeaterEfficiencyPermille)
	if err != nil {
		return Lab{}, fmt.Errorf("change lab: %w", err)
	}
	return changed, nil
}

// All lists every lab there is, in order of age, whichever lab tx is in.
func All(ctx context.Context, tx pgx.Tx, p Page) (List[Lab], error) {
	return page(ctx, tx, p, func(l Lab) string { return l.ID },
		`SELECT `+labColumns+` FROM every_lab($1, $2) ORDER BY id`)
}

func errStale(what string) error {
	return Refuse(Stale, "stale", "the %s has changed since you read it; read it again", what)
}

// one reads exactly one row. It gives pgx.ErrNoRows if there is none.
func one[T any](ctx context.Context, tx pgx.Tx, query string, args ...any) (T, error) {
	var none T
	rows, err := tx.Query(ctx, query, args...)
	if err != nil {
		return none, err
	}
	v, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[T])
	if err != nil {
		return none, err
	}
	return v, nil
}

// find is one that refuses with NotFound.
func find[T any](ctx context.Context, tx pgx.Tx, what, query string, args ...any) (T, error) {
	v, err := one[T](ctx, tx, query, args...)
	if errors.Is(err, pgx.ErrNoRows) {
		return v, Refuse(NotFound, "not-found", "there is no such %s", what)
	}
	if err != nil {
		return v, fmt.Errorf("find %s: %w", what, err)
	}
	return v, nil
}

// page reads one page of a list. In the query $1 is the key to begin after
// and $2 how many rows to read; args follow from $3 on.
func page[T any](ctx context.Context, tx pgx.Tx, p Page, key func(T) string, query string, args ...any) (List[T], error) {
	rows, err := tx.Query(ctx, query, append([]any{p.After, p.Limit + 1}, args...)...)
	if err != nil {
		return List[T]{}, fmt.Errorf("list: %w", err)
	}
	items, err := pgx.CollectRows(rows, pgx.RowToStructByPos[T])
	if err != nil {
		return List[T]{}, fmt.Errorf("list: %w", err)
	}
	return Cut(items, p, key), nil
}
