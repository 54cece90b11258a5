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
		{ID: "watchPlan", Method: http.MethodPost, Path: "/v1/labs/:lab/plan-searches", Who: steward, Stream: watchPlan, Within: planTime},
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

// progressEvery is how often at most a caller who listens is told of progress.
const progressEvery = 250 * time.Millisecond

// watchPlan makes a plan as makePlan does, and tells how the search goes: events
// "progress" and, once the plan is stored, an event "plan". If the caller goes
// before that there is no plan.
func watchPlan(ctx context.Context, _ lab.Scope, r Request, out *events) error {
	var in scheduling.NewPlan
	if err := decodeInto(r.body, &in); err != nil {
		return err
	}
	var told time.Time
	in.Progress = func(at planner.Progress) {
		if now := time.Now(); now.Sub(told) >= progressEvery {
			told = now
			_ = out.Send("", "progress", at) // who has gone ends ctx, and so the search
		}
	}
	var plan scheduling.Plan
	err := out.InTx(ctx, func(tx pgx.Tx, s lab.Scope) (err error) {
		plan, err = scheduling.MakePlan(ctx, tx, s, in)
		return err
	})
	if err != nil {
		return err
	}
	return out.Send(plan.ID, "plan", plan)
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
