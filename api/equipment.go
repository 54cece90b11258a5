package api

import (
	"context"
	"net/http"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

func equipmentOperations() []operation {
	const reels = "/v1/labs/:lab/reel-kinds"
	const tanks, tank = "/v1/labs/:lab/tanks", "/v1/labs/:lab/tanks/:tank"
	const cabinets, cabinet = "/v1/labs/:lab/cabinets", "/v1/labs/:lab/cabinets/:cabinet"
	hosts := holders(lab.RoleSteward, lab.RoleKeeper)
	return []operation{
		{ID: "addReelKind", Method: http.MethodPost, Path: reels, Who: hosts, Handle: freeing(body(addReelKind))},
		{ID: "listReelKinds", Method: http.MethodGet, Path: reels, Who: members, Handle: listReelKinds},
		{ID: "addTank", Method: http.MethodPost, Path: tanks, Who: hosts, Handle: freeing(body(addTank))},
		{ID: "listTanks", Method: http.MethodGet, Path: tanks, Who: members, Handle: listTanks},
		{ID: "getTank", Method: http.MethodGet, Path: tank, Who: members, Handle: getTank},
		{ID: "updateTank", Method: http.MethodPatch, Path: tank, Who: hosts, IfMatch: getTank, Handle: freeing(body(updateTank))},
		{ID: "addCabinet", Method: http.MethodPost, Path: cabinets, Who: hosts, Handle: freeing(body(addCabinet))},
		{ID: "listCabinets", Method: http.MethodGet, Path: cabinets, Who: members, Handle: listCabinets},
		{ID: "getCabinet", Method: http.MethodGet, Path: cabinet, Who: members, Handle: getCabinet},
		{ID: "updateCabinet", Method: http.MethodPatch, Path: cabinet, Who: hosts, IfMatch: getCabinet, Handle: freeing(body(updateCabinet))},
	}
}

func addReelKind(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request, in lab.NewReelKind) (Answer, error) {
	k, err := lab.AddReelKind(ctx, tx, s, in)
	if err != nil {
		return Answer{}, err
	}
	return Answer{Status: http.StatusCreated, Body: k}, nil
}

func listReelKinds(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return listed(lab.ReelKinds(ctx, tx, s.Lab.ID, r.Page()))
}

func addTank(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request, in lab.NewTank) (Answer, error) {
	t, err := lab.AddTank(ctx, tx, s, in)
	if err != nil {
		return Answer{}, err
	}
	return Created("/v1/labs/"+s.Lab.ID+"/tanks/"+t.ID, t), nil
}

func listTanks(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return listed(lab.Tanks(ctx, tx, s.Lab.ID, r.Page()))
}

func getTank(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(lab.FindTank(ctx, tx, s.Lab.ID, r.Path("tank")))
}

func updateTank(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in lab.TankChange) (Answer, error) {
	return reply(lab.ChangeTank(ctx, tx, s, r.Path("tank"), r.Version(), in))
}

func addCabinet(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request, in lab.NewCabinet) (Answer, error) {
	c, err := lab.AddCabinet(ctx, tx, s, in)
	if err != nil {
		return Answer{}, err
	}
	return Created("/v1/labs/"+s.Lab.ID+"/cabinets/"+c.ID, c), nil
}

func listCabinets(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return listed(lab.Cabinets(ctx, tx, s.Lab.ID, r.Page()))
}

func getCabinet(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(lab.FindCabinet(ctx, tx, s.Lab.ID, r.Path("cabinet")))
}

func updateCabinet(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in lab.CabinetChange) (Answer, error) {
	return reply(lab.ChangeCabinet(ctx, tx, s, r.Path("cabinet"), r.Version(), in))
}
