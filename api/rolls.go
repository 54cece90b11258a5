package api

import (
	"context"
	"net/http"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/scheduling"
)

func rollOperations() []operation {
	const rolls, roll = "/v1/labs/:lab/rolls", "/v1/labs/:lab/rolls/:roll"
	return []operation{
		{ID: "handInRoll", Method: http.MethodPost, Path: rolls, Who: members, Handle: body(handInRoll)},
		{ID: "listRolls", Method: http.MethodGet, Path: rolls, Who: members, Handle: listRolls},
		{ID: "getRoll", Method: http.MethodGet, Path: roll, Who: members, Handle: getRoll},
		{ID: "updateRoll", Method: http.MethodPatch, Path: roll, Who: members, IfMatch: getRoll, Handle: body(updateRoll)},
		{ID: "withdrawRoll", Method: http.MethodDelete, Path: roll, Who: members, IfMatch: getRoll, Handle: withdrawRoll},
		{ID: "collectRoll", Method: http.MethodPost, Path: roll + "/collection", Who: members, Handle: collectRoll},
	}
}

func handInRoll(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request, in scheduling.NewRoll) (Answer, error) {
	roll, err := scheduling.HandIn(ctx, tx, s, in)
	if err != nil {
		return Answer{}, err
	}
	return Created("/v1/labs/"+s.Lab.ID+"/rolls/"+roll.ID, roll), nil
}

func listRolls(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	f := scheduling.RollFilter{Status: r.Query("status"), Member: r.Query("member")}
	return listed(scheduling.ListRolls(ctx, tx, s, f, r.Page()))
}

func getRoll(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(scheduling.FindRoll(ctx, tx, s, r.Path("roll")))
}

func updateRoll(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in scheduling.RollChange) (Answer, error) {
	return reply(scheduling.ChangeRoll(ctx, tx, s, r.Path("roll"), r.Version(), in))
}

func withdrawRoll(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	if err := scheduling.WithdrawRoll(ctx, tx, s, r.Path("roll"), r.Version()); err != nil {
		return Answer{}, err
	}
	return NoContent(), nil
}

func collectRoll(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(scheduling.CollectRoll(ctx, tx, s, r.Path("roll")))
}
