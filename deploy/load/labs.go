package main

import (
	"context"
	"crypto/rand"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"wetside/chemistry"
	"wetside/chemistry/shares"
	"wetside/lab"
	"wetside/lab/database"
	"wetside/lab/units"
	"wetside/scheduling"
)

// How much there is for each client: labs of its own, so that no two clients
// want the same place, each with sessions of two places. One of these is booked.
const (
	labsEach      = 4
	sessionsEach  = 12
	placesEach    = 2
	sessionsEvery = 2 * 24 * time.Hour
)

// An atLab is a lab with a member whose roll is booked and given up again.
type atLab struct {
	id, code string
	token    string
	roll     string
	sessions []string
}

// furnish sets labs up for each client.
func furnish(ctx context.Context, url string, clients int) ([]*atLab, error) {
	pool, err := pgxpool.New(ctx, url)
	if err != nil {
		return nil, err
	}
	defer pool.Close()
	var labs []*atLab
	for range clients * labsEach {
		l := &atLab{}
		if err := pgx.BeginFunc(ctx, pool, func(tx pgx.Tx) error { return l.found(ctx, tx) }); err != nil {
			return nil, err
		}
		labs = append(labs, l)
	}
	_, err = pool.Exec(ctx, `VACUUM ANALYZE`)
	return labs, err
}

func (l *atLab) found(ctx context.Context, tx pgx.Tx) error {
	now := time.Now().UTC().Truncate(time.Microsecond)
	f, err := lab.Found(ctx, tx, lab.NewLab{Name: "Sallowmere Film Co-op", TimeZone: "Europe/Lisbon", Currency: "EUR", Keeper: "Keeper"},
		now, now, rand.Reader)
	if err != nil {
		return err
	}
	if err := database.InLab(ctx, tx, f.Lab.ID); err != nil {
		return err
	}
	l.id = f.Lab.ID
	steward := lab.Scope{Lab: f.Lab, By: f.Keeper, Now: now}
	if err := l.equip(ctx, tx, steward); err != nil {
		return err
	}
	member := steward
	if member.By, err = lab.AddMember(ctx, tx, steward, lab.NewMember{Name: "Member"}); err != nil {
		return err
	}
	code, err := lab.NewSignInCode(ctx, tx, l.id, member.By.ID, nil, now, rand.Reader)
	if err != nil {
		return err
	}
	l.code = code.Code
	for i := range sessionsEach + 1 {
		roll, err := scheduling.HandIn(ctx, tx, member, scheduling.NewRoll{Format: "cine-8-15m", Process: "reversal-3"})
		if err != nil {
			return err
		}
		if i == sessionsEach {
			l.roll = roll.ID
			break
		}
		if _, err := scheduling.Book(ctx, tx, member, scheduling.NewBooking{Session: l.sessions[i], Rolls: []string{roll.ID}}); err != nil {
			return err
		}
	}
	return nil
}

// equip gives a lab what a run of small-gauge reversal takes, and its sessions.
func (l *atLab) equip(ctx context.Context, tx pgx.Tx, s lab.Scope) error {
	_, err := lab.AddReelKind(ctx, tx, s, lab.NewReelKind{Code: "spiral-8", Name: "small-gauge spiral", Count: placesEach,
		HeightMM: 100, SolutionML: 600, Loading: 10 * units.Minute, Drying: 4 * units.Hour})
	if err != nil {
		return err
	}
	tank, err := lab.AddTank(ctx, tx, s, lab.NewTank{Name: "Tank", HeightMM: 205, VolumeML: 1500, HeaterW: 500,
		ReelKinds: []string{"spiral-8"}, CleanUp: 10 * units.Minute, Flush: 5 * units.Minute})
	if err != nil {
		return err
	}
	_, err = lab.AddCabinet(ctx, tx, s, lab.NewCabinet{Name: "Cabinet", Positions: 16, DropMM: 1700, Drying: 4 * units.Hour})
	if err != nil {
		return err
	}
	if _, err := shares.Buy(ctx, tx, s, kit(s.Now)); err != nil {
		return err
	}
	for i := range sessionsEach {
		start := s.Now.Truncate(24 * time.Hour).Add(34*time.Hour + time.Duration(i+2)*sessionsEvery)
		e, err := scheduling.AddSession(ctx, tx, s, scheduling.NewSession{Tank: tank.ID, Operator: s.By.ID, Start: start, End: start.Add(4 * time.Hour)})
		if err != nil {
			return fmt.Errorf("session %d: %w", i+1, err)
		}
		l.sessions = append(l.sessions, e.ID)
	}
	return nil
}

// kit carries more than is ever booked.
func kit(now time.Time) shares.NewKit {
	var baths []chemistry.BathDefinition
	for _, role := range []string{"first-developer", "colour-developer", "bleach-fix", "stabiliser"} {
		baths = append(baths, chemistry.BathDefinition{Role: role, Use: chemistry.Reused, VolumeML: 1500, Life: 90 * units.Day})
	}
	return shares.NewKit{
		NewKit: chemistry.NewKit{Name: "Three-bath reversal", Process: "reversal-3", Price: units.Money{Amount: 6000, Currency: "EUR"},
			BoughtOn: now.Format(time.DateOnly), Portions: 1, Mix: 20 * units.Minute, UnopenedUntil: now.AddDate(1, 0, 0), OpenedLife: 90 * units.Day,
			RatedAreaMM2: 1000 * chemistry.RollEquivalentMM2, Baths: baths, ShareRule: chemistry.ByArea, UnusedFallsOn: chemistry.OnUsers},
		Price: shares.Price{Amount: 6000, Currency: "EUR"},
	}
}
