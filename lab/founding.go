package lab

import (
	"context"
	"fmt"
	"io"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab/database"
	"wetside/lab/units"
)

// What a lab reckons with unless it says otherwise. The heater's efficiency is
// our assumption for an open tempering bath: a fifth of the heat is lost.
const (
	usualRoom       = 20 * units.DegreeCelsius
	usualEfficiency = 800
)

// A NewLab is what it takes to begin a lab; nil means the usual.
type NewLab struct {
	Name     string `json:"name"`
	TimeZone string `json:"time_zone"`
	Currency string `json:"currency"`
	// Keeper is the name of the first member, who looks after the lab.
	Keeper                      string             `json:"keeper"`
	AreaRule                    *AreaRule          `json:"area_rule"`
	DevelopingTolerancePermille *int64             `json:"developing_tolerance_permille"`
	RoomTemperature             *units.Temperature `json:"room_temperature"`
	HeaterEfficiencyPermille    *int64             `json:"heater_efficiency_permille"`
}

// A Founding is a new lab with its keeper, who holds all roles, and a code
// for the keeper to sign in with.
type Founding struct {
	Lab    Lab        `json:"lab"`
	Keeper Member     `json:"keeper"`
	SignIn SignInCode `json:"sign_in"`
}

// Found begins a lab at now; the sign-in code runs from the real instant
// clock. The transaction is in the new lab from there on. It refuses with Invalid: "no-such-time-zone", or "invalid" with faults.
func Found(ctx context.Context, tx pgx.Tx, in NewLab, now, clock time.Time, random io.Reader) (Founding, error) {
	l := Lab{
		Name: in.Name, TimeZone: in.TimeZone, Currency: in.Currency,
		AreaRule:                    or(in.AreaRule, TradeArea),
		DevelopingTolerancePermille: or(in.DevelopingTolerancePermille, 0),
		RoomTemperature:             or(in.RoomTemperature, usualRoom),
		HeaterEfficiencyPermille:    or(in.HeaterEfficiencyPermille, usualEfficiency),
	}
	r := Refuse(Invalid, "invalid", "the lab cannot be begun like this")
	checkSettings(r, l)
	checkCurrency(r, l.Currency)
	checkName(r, "/keeper", in.Keeper)
	if err := r.OrNil(); err != nil {
		return Founding{}, err
	}
	if err := checkZone(l.TimeZone); err != nil {
		return Founding{}, err
	}
	var id string
	if err := tx.QueryRow(ctx, `SELECT new_id('lab', $1)`, now).Scan(&id); err != nil {
		return Founding{}, fmt.Errorf("begin lab: %w", err)
	}
	if err := database.InLab(ctx, tx, id); err != nil {
		return Founding{}, err
	}
	made, err := one[Lab](ctx, tx, `INSERT INTO labs (id, name, time_zone, currency, area_rule,
			developing_tolerance_permille, room_temperature_mc, heater_efficiency_permille, created_at)
		VALUES ($9, $2, $3, $4, $5, $6, $7, $8, $1)
		RETURNING `+labColumns,
		now, l.Name, l.TimeZone, l.Currency, l.AreaRule,
		l.DevelopingTolerancePermille, l.RoomTemperature, l.HeaterEfficiencyPermille, id)
	if err != nil {
		return Founding{}, fmt.Errorf("begin lab: %w", err)
	}
	keeper, err := Admit(ctx, tx, made.ID,
		NewMember{Name: in.Keeper, Roles: []Role{RoleMember, RoleSteward, RoleTreasurer, RoleKeeper}}, now)
	if err != nil {
		return Founding{}, err
	}
	code, err := newSignInCode(ctx, tx, made.ID, keeper.ID, nil, clock, clock.Add(signInLife), random)
	if err != nil {
		return Founding{}, err
	}
	return Founding{Lab: made, Keeper: keeper, SignIn: code}, nil
}

// or is what p points at, or the usual value.
func or[T any](p *T, usual T) T {
	if p != nil {
		return *p
	}
	return usual
}
