package api

import (
	"context"
	"net/http"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/chemistry/shares"
	"wetside/lab"
	"wetside/scheduling"
)

func kitOperations() []operation {
	const kits, kit = "/v1/labs/:lab/kits", "/v1/labs/:lab/kits/:kit"
	const sets = "/v1/labs/:lab/bath-sets"
	treasurer, steward := holders(lab.RoleTreasurer), holders(lab.RoleSteward)
	return []operation{
		{ID: "buyKit", Method: http.MethodPost, Path: kits, Who: treasurer, Handle: freeing(body(buyKit))},
		{ID: "listKits", Method: http.MethodGet, Path: kits, Who: members, Handle: listKits},
		{ID: "getKit", Method: http.MethodGet, Path: kit, Who: members, Handle: getKit},
		{ID: "closeKit", Method: http.MethodPost, Path: kit + "/closing", Who: treasurer, Handle: body(closeKit)},
		{ID: "mixKit", Method: http.MethodPost, Path: sets, Who: steward, Handle: freeing(body(mixKit))},
		{ID: "listBathSets", Method: http.MethodGet, Path: sets, Who: members, Handle: listBathSets},
		{ID: "getBathSet", Method: http.MethodGet, Path: sets + "/:bath_set", Who: members, Handle: getBathSet},
	}
}

func buyKit(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request, in shares.NewKit) (Answer, error) {
	k, err := shares.Buy(ctx, tx, s, in)
	if err != nil {
		return Answer{}, err
	}
	return Created("/v1/labs/"+s.Lab.ID+"/kits/"+k.ID, k), nil
}

func listKits(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return listed(chemistry.ListKits(ctx, tx, s.Lab.ID, r.Page()))
}

func getKit(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(chemistry.FindKit(ctx, tx, s.Lab.ID, r.Path("kit")))
}

// A closing is why a kit is closed.
type closing struct {
	Because chemistry.ClosedBecause `json:"because"`
}

func closeKit(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in closing) (Answer, error) {
	return reply(shares.CloseKit(ctx, tx, s, r.Path("kit"), in.Because))
}

func mixKit(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request, in chemistry.NewMix) (Answer, error) {
	set, err := scheduling.Mix(ctx, tx, s, in)
	if err != nil {
		return Answer{}, err
	}
	return Created("/v1/labs/"+s.Lab.ID+"/bath-sets/"+set.ID, set), nil
}

func listBathSets(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return listed(chemistry.ListBathSets(ctx, tx, s.Lab.ID, s.Now, r.Page()))
}

func getBathSet(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(chemistry.FindBathSet(ctx, tx, s.Lab.ID, r.Path("bath_set"), s.Now))
}
