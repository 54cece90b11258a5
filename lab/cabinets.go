package lab

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"wetside/lab/units"
)

// A Cabinet is where film hangs to dry.
type Cabinet struct {
	ID   string `json:"id"`
	Name string `json:"name"`
	// Positions is how many strips hang at a time; DropMM how long each may be.
	Positions  int64          `json:"positions"`
	DropMM     int64          `json:"drop_mm"`
	Drying     units.Duration `json:"drying"`
	OutOfOrder bool           `json:"out_of_order"`
	Version    int64          `json:"-"`
}

const cabinetColumns = `id, name, positions, drop_mm, drying_s, out_of_order, version`

// Revision counts changes of the cabinet's record.
func (c Cabinet) Revision() int64 { return c.Version }

// A NewCabinet is a cabinet to be set up.
type NewCabinet struct {
	Name      string         `json:"name"`
	Positions int64          `json:"positions"`
	DropMM    int64          `json:"drop_mm"`
	Drying    units.Duration `json:"drying"`
}

// check refuses with Invalid what no cabinet can be.
func (c NewCabinet) check() error {
	r := Refuse(Invalid, "invalid", "there can be no such cabinet")
	checkName(r, "/name", c.Name)
	checkRange(r, "/positions", c.Positions, 1, 1000)
	checkRange(r, "/drop_mm", c.DropMM, 1, 100_000)
	checkSpan(r, "/drying", c.Drying, units.Second)
	return r.OrNil()
}

// AddCabinet sets a cabinet up. It refuses with Invalid, and with Conflict
// ("name-taken").
func AddCabinet(ctx context.Context, tx pgx.Tx, s Scope, in NewCabinet) (Cabinet, error) {
	if err := in.check(); err != nil {
		return Cabinet{}, err
	}
	if err := Touch(ctx, tx, s.Lab.ID); err != nil {
		return Cabinet{}, err
	}
	c, err := one[Cabinet](ctx, tx, `INSERT INTO cabinets (lab_id, id, name, positions, drop_mm, drying_s)
		VALUES ($1, new_id('cabinet', $2), $3, $4, $5, $6)
		RETURNING `+cabinetColumns, s.Lab.ID, s.Now, in.Name, in.Positions, in.DropMM, in.Drying)
	if Violates(err, UniqueViolation, "cabinets_name") {
		return Cabinet{}, errTaken("/name", "cabinet")
	}
	if err != nil {
		return Cabinet{}, fmt.Errorf("add cabinet: %w", err)
	}
	return c, nil
}

// FindCabinet reads a cabinet. It refuses with NotFound.
func FindCabinet(ctx context.Context, tx pgx.Tx, labID, id string) (Cabinet, error) {
	return find[Cabinet](ctx, tx, "cabinet",
		`SELECT `+cabinetColumns+` FROM cabinets WHERE lab_id = $1 AND id = $2`, labID, id)
}

// Cabinets lists a lab's cabinets in the order they were set up.
func Cabinets(ctx context.Context, tx pgx.Tx, labID string, p Page) (List[Cabinet], error) {
	return page(ctx, tx, p, func(c Cabinet) string { return c.ID },
		`SELECT `+cabinetColumns+` FROM cabinets
		WHERE lab_id = $3 AND id > $1 ORDER BY id LIMIT $2`, labID)
}

// A CabinetChange is what may change of a cabinet; nil leaves a field as it is.
type CabinetChange struct {
	Name       *string         `json:"name"`
	Drying     *units.Duration `json:"drying"`
	OutOfOrder *bool           `json:"out_of_order"`
}

// ChangeCabinet changes a cabinet, of which the caller has seen the given
// version; plans made before go stale. It refuses with Invalid, NotFound,
// Stale, and Conflict ("name-taken").
func ChangeCabinet(ctx context.Context, tx pgx.Tx, s Scope, id string, version int64, in CabinetChange) (Cabinet, error) {
	if err := Touch(ctx, tx, s.Lab.ID); err != nil {
		return Cabinet{}, err
	}
	c, err := FindCabinet(ctx, tx, s.Lab.ID, id)
	if err != nil {
		return Cabinet{}, err
	}
	if c.Version != version { // nobody else changes it: Touch holds the lab
		return Cabinet{}, errStale("cabinet")
	}
	n := NewCabinet{
		Name: or(in.Name, c.Name), Positions: c.Positions, DropMM: c.DropMM, Drying: or(in.Drying, c.Drying),
	}
	if err := n.check(); err != nil {
		return Cabinet{}, err
	}
	c, err = one[Cabinet](ctx, tx, `UPDATE cabinets
		SET name = $4, drying_s = $5, out_of_order = $6, version = version + 1
		WHERE lab_id = $1 AND id = $2 AND version = $3
		RETURNING `+cabinetColumns, s.Lab.ID, id, version, n.Name, n.Drying, or(in.OutOfOrder, c.OutOfOrder))
	if Violates(err, UniqueViolation, "cabinets_name") {
		return Cabinet{}, errTaken("/name", "cabinet")
	}
	if err != nil {
		return Cabinet{}, fmt.Errorf("change cabinet: %w", err)
	}
	return c, nil
}
