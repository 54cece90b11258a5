package loadtest

import (
	"context"
	"crypto/rand"
	"fmt"
	"testing"
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

// opens is when the labs' first session begins, and what requests say it is: in
// a future that no job of the server has come to.
var (
	today = time.Now().UTC().Truncate(24*time.Hour).AddDate(0, 6, 0)
	opens = today.AddDate(0, 0, 20).Add(10 * time.Hour)
)

// A labelled is a lab with sessions of two places each: it has two small-gauge
// reels, which stay wet for as long as a session lasts.
type labelled struct {
	ID       string
	sessions []string
	steward  *person
	members  []*person
}

// A person is somebody of a lab, with their rolls.
type person struct {
	id, code string
	token    string
	rolls    []string
}

// placesASession is how many rolls a session of a labelled takes.
const placesASession = 2

// newLab sets a lab up, with members who have handed in rolls each.
func newLab(t testing.TB, pool *pgxpool.Pool, sessions, members, rolls int) *labelled {
	t.Helper()
	out := &labelled{}
	err := pgx.BeginFunc(t.Context(), pool, func(tx pgx.Tx) error {
		ctx := t.Context()
		f, err := lab.Found(ctx, tx, lab.NewLab{Name: "Sallowmere Film Co-op", TimeZone: "Europe/Lisbon", Currency: "EUR", Keeper: "Ines Tarrow"},
			today, time.Now(), rand.Reader)
		if err != nil {
			return err
		}
		if err := database.InLab(ctx, tx, f.Lab.ID); err != nil {
			return err
		}
		s := lab.Scope{Lab: f.Lab, By: f.Keeper, Now: today}
		out.ID, out.steward = f.Lab.ID, &person{id: f.Keeper.ID, code: f.SignIn.Code}
		if err := out.equip(ctx, tx, s, sessions); err != nil {
			return err
		}
		for i := range members {
			as := s
			if as.By, err = lab.AddMember(ctx, tx, s, lab.NewMember{Name: fmt.Sprintf("Member %d", i+1)}); err != nil {
				return err
			}
			code, err := lab.NewSignInCode(ctx, tx, f.Lab.ID, as.By.ID, nil, time.Now(), rand.Reader)
			if err != nil {
				return err
			}
			p := &person{id: as.By.ID, code: code.Code}
			for range rolls {
				r, err := scheduling.HandIn(ctx, tx, as, scheduling.NewRoll{Format: "cine-8-15m", Process: "reversal-3"})
				if err != nil {
					return err
				}
				p.rolls = append(p.rolls, r.ID)
			}
			out.members = append(out.members, p)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// equip gives the lab what a run of small-gauge reversal takes, and sessions
// two days apart, none of which runs out of anything but reels.
func (l *labelled) equip(ctx context.Context, tx pgx.Tx, s lab.Scope, sessions int) error {
	_, err := lab.AddReelKind(ctx, tx, s, lab.NewReelKind{Code: "spiral-8", Name: "small-gauge spiral", Count: placesASession,
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
	for i := range sessions {
		start := opens.AddDate(0, 0, 2*i)
		e, err := scheduling.AddSession(ctx, tx, s, scheduling.NewSession{Tank: tank.ID, Operator: s.By.ID, Start: start, End: start.Add(4 * time.Hour)})
		if err != nil {
			return err
		}
		l.sessions = append(l.sessions, e.ID)
	}
	return nil
}

// kit carries more than any of these tests books.
func kit(now time.Time) shares.NewKit {
	area := int64(1000 * chemistry.RollEquivalentMM2)
	var baths []chemistry.BathDefinition
	for _, role := range []string{"first-developer", "colour-developer", "bleach-fix", "stabiliser"} {
		baths = append(baths, chemistry.BathDefinition{Role: role, Use: chemistry.Reused, VolumeML: 1500, Life: 90 * units.Day})
	}
	return shares.NewKit{
		NewKit: chemistry.NewKit{Name: "Three-bath reversal", Process: "reversal-3", Price: units.Money{Amount: 6000, Currency: "EUR"},
			BoughtOn: now.Format(time.DateOnly), Portions: 1, Mix: 20 * units.Minute, UnopenedUntil: now.AddDate(1, 0, 0), OpenedLife: 90 * units.Day,
			RatedAreaMM2: area, Baths: baths, ShareRule: chemistry.ByArea, UnusedFallsOn: chemistry.OnUsers},
		Price: shares.Price{Amount: 6000, Currency: "EUR"},
	}
}
