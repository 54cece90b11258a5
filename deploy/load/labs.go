package main

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"wetside/deploy/load/labs"
	"wetside/scheduling"
)

// How much there is for each client: labs of its own, so that no two clients
// want the same place. One place of each session is booked.
const (
	labsEach     = 4
	sessionsEach = 12
)

// An atLab is a lab with a member whose roll is booked and given up again.
type atLab struct {
	*labs.Lab
	*labs.Person
	roll string
}

// furnish sets labs up for each client.
func furnish(ctx context.Context, url string, clients int) ([]*atLab, error) {
	pool, err := pgxpool.New(ctx, url)
	if err != nil {
		return nil, err
	}
	defer pool.Close()
	var all []*atLab
	for range clients * labsEach {
		l := &atLab{}
		if err := pgx.BeginFunc(ctx, pool, func(tx pgx.Tx) error { return l.found(ctx, tx) }); err != nil {
			return nil, err
		}
		all = append(all, l)
	}
	_, err = pool.Exec(ctx, `VACUUM ANALYZE`)
	return all, err
}

func (l *atLab) found(ctx context.Context, tx pgx.Tx) (err error) {
	now := time.Now().UTC().Truncate(time.Microsecond)
	l.Lab, err = labs.Found(ctx, tx, labs.Wanted{
		Now: now, Opens: now.Truncate(24 * time.Hour).Add(5*24*time.Hour + 10*time.Hour),
		Sessions: sessionsEach, Members: 1, Rolls: sessionsEach + 1,
	})
	if err != nil {
		return err
	}
	l.Person = l.Members[0]
	l.roll = l.Rolls[sessionsEach]
	for i, session := range l.Sessions {
		if _, err := scheduling.Book(ctx, tx, l.Scope, scheduling.NewBooking{Session: session, Rolls: l.Rolls[i : i+1]}); err != nil {
			return err
		}
	}
	return nil
}
