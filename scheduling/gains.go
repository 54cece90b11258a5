package scheduling

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab/units"
	"wetside/scheduling/planner"
)

// PlanGains is what a plan would gain by one change each of the lab's means.
type PlanGains struct {
	Gains []planner.Gain `json:"gains"`
	// Complete says that every change was tried; there was time for those given.
	Complete bool `json:"complete"`
}

// The most time that gains take, for each change and in all.
const (
	gainBudget = 4 * units.Second
	gainsTime  = 30 * time.Second
)

// FindGains plans a stored plan's problem again with one more reel of each
// kind, one more session of each tank and the next kit of each process mixed
// now, and says what each would gain. It refuses with NotFound.
func FindGains(ctx context.Context, tx pgx.Tx, labID, id string) (PlanGains, error) {
	p, err := FindPlan(ctx, tx, labID, id)
	if err != nil {
		return PlanGains{}, err
	}
	ctx, cancel := context.WithTimeout(ctx, gainsTime)
	defer cancel()
	p.Problem.Search.Budget = gainBudget
	gains, complete, err := planner.Gains(ctx, p.Problem, &p.Plan)
	if err != nil {
		return PlanGains{}, fmt.Errorf("find gains of plan: %w", err)
	}
	return PlanGains{Gains: gains, Complete: complete}, nil
}
