package api

import (
	"context"
	"errors"
	"net/http"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/scheduling"
	"wetside/scheduling/planner"
)

// planTime caps a request that plans: the longest search budget and some.
const planTime = 40 * time.Second

func planOperations() []operation {
	const plans, plan = "/v1/labs/:lab/plans", "/v1/labs/:lab/plans/:plan"
	steward := holders(lab.RoleSteward)
	return []operation{
		{ID: "makePlan", Method: http.MethodPost, Path: plans, Who: steward, Handle: body(makePlan), Within: planTime},
		{ID: "listPlans", Method: http.MethodGet, Path: plans, Who: steward, Handle: listPlans},
		{ID: "getPlan", Method: http.MethodGet, Path: plan, Who: steward, Handle: getPlan},
		{ID: "getPlanGains", Method: http.MethodGet, Path: plan + "/gains", Who: steward, Handle: getPlanGains, Within: planTime},
		{ID: "commitPlan", Method: http.MethodPost, Path: plan + "/commitment", Who: steward, IfMatch: getPlan, Handle: commitPlan},
		{ID: "tryChanges", Method: http.MethodPost, Path: "/v1/labs/:lab/plan-trials", Who: steward, Handle: body(tryChanges), AsksOnly: true, Within: planTime},
		{ID: "tryPlan", Method: http.MethodPost, Path: "/v1/plan-trials", Who: anyToken, Handle: body(tryPlan), Stateless: true, Within: planTime},
	}
}

func makePlan(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request, in scheduling.NewPlan) (Answer, error) {
	p, err := scheduling.MakePlan(ctx, tx, s, in)
	if err != nil {
		return Answer{}, err
	}
	return Created("/v1/labs/"+s.Lab.ID+"/plans/"+p.ID, p), nil
}

func listPlans(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return listed(scheduling.ListPlans(ctx, tx, s.Lab.ID, r.Page()))
}

func getPlan(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(scheduling.FindPlan(ctx, tx, s.Lab.ID, r.Path("plan")))
}

func getPlanGains(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(scheduling.FindGains(ctx, tx, s.Lab.ID, r.Path("plan")))
}

func commitPlan(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(scheduling.CommitPlan(ctx, tx, s, r.Path("plan"), r.Version()))
}

func tryChanges(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request, in scheduling.Trial) (Answer, error) {
	return reply(scheduling.TryPlan(ctx, tx, s, in))
}

// tryPlan solves a problem that the request brings, and stores nothing.
func tryPlan(ctx context.Context, _ pgx.Tx, _ lab.Scope, _ Request, in planner.Problem) (Answer, error) {
	plan, err := planner.Solve(ctx, &in, nil)
	var invalid *planner.InvalidError
	if errors.As(err, &invalid) {
		no := lab.Refuse(lab.Invalid, "invalid", "the problem cannot be planned")
		for _, f := range invalid.Faults {
			_ = no.With(f.Pointer, "invalid", "%s", f.Detail)
		}
		return Answer{}, no
	}
	return reply(plan, err)
}
