package api

import (
	"context"
	"net/http"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

func (a *API) labOperations() []operation {
	return []operation{
		{ID: "createLab", Method: http.MethodPost, Path: "/v1/labs", Who: setup, Handle: body(a.createLab)},
		{ID: "listLabs", Method: http.MethodGet, Path: "/v1/labs", Who: anyToken, Handle: listLabs},
		{ID: "getLab", Method: http.MethodGet, Path: "/v1/labs/:lab", Who: members, Handle: getLab},
		{ID: "updateLab", Method: http.MethodPatch, Path: "/v1/labs/:lab", Who: holders(lab.RoleKeeper), IfMatch: getLab, Handle: body(updateLab)},
	}
}

func (a *API) createLab(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in lab.NewLab) (Answer, error) {
	made, err := lab.Found(ctx, tx, in, s.Now, r.Clock, a.random)
	if err != nil {
		return Answer{}, err
	}
	return Created("/v1/labs/"+made.Lab.ID, made), nil
}

// listLabs lists all labs for the setup code's owner, and a member's own.
func listLabs(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	if r.Setup {
		return listed(lab.All(ctx, tx, r.Page()))
	}
	if r.Page().After >= s.Lab.ID {
		return Listed(lab.List[lab.Lab]{}), nil
	}
	return Listed(lab.List[lab.Lab]{Items: []lab.Lab{s.Lab}}), nil
}

func getLab(_ context.Context, _ pgx.Tx, s lab.Scope, _ Request) (Answer, error) {
	return OK(s.Lab), nil
}

func updateLab(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in lab.Settings) (Answer, error) {
	return reply(lab.Change(ctx, tx, s, r.Version(), in))
}
