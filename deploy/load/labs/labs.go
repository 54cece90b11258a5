// Package labs founds labs that are made for load: small-gauge reversal in one
// tank, with chemistry that does not run out, and sessions two days apart. There
// are two reels, which stay wet for as long as a session lasts, so that each
// session has two places.
package labs

import (
	"context"
	"crypto/rand"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/database"
	"wetside/scheduling"
)

// Places is how many rolls a session takes.
const Places = 2

// sessionsEvery is how many days lie between the beginnings of two sessions.
const sessionsEvery = 2

// A Lab is what was founded.
type Lab struct {
	ID       string
	Sessions []string
	Steward  *Person
	Members  []*Person
}

// A Person is somebody of a lab, with their rolls.
type Person struct {
	// Scope is who they are, at the instant at which the lab was founded.
	Scope lab.Scope
	// Code signs them in.
	Code string
	// Token is what whoever signs them in got for it.
	Token string
	Rolls []string
}

// A Wanted is how a lab is to be.
type Wanted struct {
	// Now is when the lab is founded and all in it handed in, by the lab's time.
	Now time.Time
	// Opens is when its first session begins.
	Opens time.Time
	// Sessions and Members are how many there are, Rolls how many each member has.
	Sessions, Members, Rolls int
}

// Found founds a lab. Codes are made by the clock, whatever time the lab has.
func Found(ctx context.Context, tx pgx.Tx, w Wanted) (*Lab, error) {
	f, err := lab.Found(ctx, tx, lab.NewLab{Name: "Sallowmere Film Co-op", TimeZone: "Europe/Lisbon", Currency: "EUR", Keeper: "Ines Tarrow"},
		w.Now, time.Now(), rand.Reader)
	if err != nil {
		return nil, err
	}
	if err := database.InLab(ctx, tx, f.Lab.ID); err != nil {
		return nil, err
	}
	steward := lab.Scope{Lab: f.Lab, By: f.Keeper, Now: w.Now}
	l := &Lab{ID: f.Lab.ID, Steward: &Person{Scope: steward, Code: f.SignIn.Code}}
	tank, err := equip(ctx, tx, steward)
	if err != nil {
		return nil, err
	}
	for i := range w.Sessions {
		start := w.Opens.AddDate(0, 0, i*sessionsEvery)
		e, err := scheduling.AddSession(ctx, tx, steward, scheduling.NewSession{Tank: tank, Operator: steward.By.ID, Start: start, End: start.Add(4 * time.Hour)})
		if err != nil {
			return nil, fmt.Errorf("session %d: %w", i+1, err)
		}
		l.Sessions = append(l.Sessions, e.ID)
	}
	for i := range w.Members {
		p, err := join(ctx, tx, steward, fmt.Sprintf("Member %d", i+1), w.Rolls)
		if err != nil {
			return nil, fmt.Errorf("member %d: %w", i+1, err)
		}
		l.Members = append(l.Members, p)
	}
	return l, nil
}

// join adds a member who hands in rolls.
func join(ctx context.Context, tx pgx.Tx, steward lab.Scope, name string, rolls int) (*Person, error) {
	p := &Person{Scope: steward}
	var err error
	if p.Scope.By, err = lab.AddMember(ctx, tx, steward, lab.NewMember{Name: name}); err != nil {
		return nil, err
	}
	code, err := lab.NewSignInCode(ctx, tx, steward.Lab.ID, p.Scope.By.ID, nil, time.Now(), rand.Reader)
	if err != nil {
		return nil, err
	}
	p.Code = code.Code
	for range rolls {
		r, err := scheduling.HandIn(ctx, tx, p.Scope, scheduling.NewRoll{Format: "cine-8-15m", Process: "reversal-3"})
		if err != nil {
			return nil, err
		}
		p.Rolls = append(p.Rolls, r.ID)
	}
	return p, nil
}
