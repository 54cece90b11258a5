package api

import (
	"context"
	"fmt"
	"time"

	"wetside/lab/database"
	"wetside/migrations"
)

// How long between tries to bring the database up to date, and between sweeps.
const (
	firstRetry = time.Second
	lastRetry  = 10 * time.Second
	sweepEvery = time.Hour
)

// Migrate brings the database up to date and opens the API, which may be
// served already. While the database cannot be reached it tries again, with a
// line in the log each time, until ctx is done. It fails if a migration does.
func (a *API) Migrate(ctx context.Context) error {
	for wait := firstRetry; ; wait = min(2*wait, lastRetry) {
		applied, err := migrations.Up(ctx, a.pool)
		if err == nil {
			err = a.mint.keys.tend(ctx, instant(a.clock()))
		}
		if err == nil {
			a.log.Info("the database is up to date", "migrations_applied", applied)
			a.Open()
			return nil
		}
		if ctx.Err() != nil {
			return nil
		}
		if !database.Gone(err) {
			return fmt.Errorf("bring the database up to date: %w", err)
		}
		a.log.Warn("the database cannot be reached; trying again", "in", wait.String(), "error", err.Error())
		select {
		case <-time.After(wait):
		case <-ctx.Done():
			return nil
		}
	}
}

// Tend does what is to be done from time to time until ctx is done: it forgets
// first answers that are no longer replayed, and sees to the signing keys.
func (a *API) Tend(ctx context.Context) {
	every := time.NewTicker(sweepEvery)
	defer every.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-every.C:
		}
		if err := a.mint.keys.tend(ctx, instant(a.clock())); err != nil {
			a.log.Warn("the signing keys could not be seen to", "error", err.Error())
		}
		if n, err := a.Sweep(ctx); err != nil {
			a.log.Warn("first answers could not be swept", "error", err.Error())
		} else if n > 0 {
			a.log.Info("first answers swept", "count", n)
		}
	}
}
