package api

import (
	"context"
	"net/http"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
	"wetside/scheduling"
)

func bathOperations() []operation {
	const bath, waste = "/v1/labs/:lab/baths/:bath", "/v1/labs/:lab/waste"
	steward := holders(lab.RoleSteward)
	return []operation{
		{ID: "getBath", Method: http.MethodGet, Path: bath, Who: members, Handle: getBath},
		{ID: "getBathWhatIf", Method: http.MethodGet, Path: bath + "/what-if", Who: members, Handle: getBathWhatIf},
		{ID: "quarantineBath", Method: http.MethodPost, Path: bath + "/quarantine", Who: steward, IfMatch: getBath, Handle: body(quarantineBath)},
		{ID: "releaseBath", Method: http.MethodPost, Path: bath + "/release", Who: steward, IfMatch: getBath, Handle: freeing(body(releaseBath))},
		{ID: "storeBath", Method: http.MethodPost, Path: bath + "/storage", Who: steward, IfMatch: getBath, Handle: body(storeBath)},
		{ID: "topUpBath", Method: http.MethodPost, Path: bath + "/top-ups", Who: steward, Handle: freeing(body(topUpBath))},
		{ID: "listTopUps", Method: http.MethodGet, Path: bath + "/top-ups", Who: members, Handle: listTopUps},
		{ID: "discardBath", Method: http.MethodPost, Path: bath + "/disposal", Who: steward, IfMatch: getBath, Handle: body(discardBath)},
		{ID: "logWaste", Method: http.MethodPost, Path: waste, Who: steward, Handle: body(logWaste)},
		{ID: "listWaste", Method: http.MethodGet, Path: waste, Who: steward, Handle: listWaste},
		{ID: "getWasteTotals", Method: http.MethodGet, Path: "/v1/labs/:lab/waste-totals", Who: steward, Handle: getWasteTotals},
	}
}

func getBath(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(scheduling.FindBath(ctx, tx, s, r.Path("bath")))
}

func getBathWhatIf(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(scheduling.FindWhatIf(ctx, tx, s, r.Path("bath")))
}

func quarantineBath(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in chemistry.Because) (Answer, error) {
	return reply(chemistry.QuarantineBath(ctx, tx, s, r.Path("bath"), r.Version(), in))
}

func releaseBath(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in chemistry.Because) (Answer, error) {
	return reply(chemistry.ReleaseBath(ctx, tx, s, r.Path("bath"), r.Version(), in))
}

func storeBath(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in chemistry.Storage) (Answer, error) {
	return reply(chemistry.StoreBath(ctx, tx, s, r.Path("bath"), r.Version(), in))
}

func topUpBath(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in chemistry.NewTopUp) (Answer, error) {
	u, err := chemistry.TopUpBath(ctx, tx, s, r.Path("bath"), in)
	if err != nil {
		return Answer{}, err
	}
	return Answer{Status: http.StatusCreated, Body: u}, nil
}

func listTopUps(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return listed(chemistry.ListTopUps(ctx, tx, s, r.Path("bath"), r.Page()))
}

func discardBath(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in chemistry.Disposal) (Answer, error) {
	return reply(chemistry.DiscardBath(ctx, tx, s, r.Path("bath"), r.Version(), in))
}

func logWaste(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request, in chemistry.NewWaste) (Answer, error) {
	w, err := chemistry.LogWaste(ctx, tx, s, in)
	if err != nil {
		return Answer{}, err
	}
	return Answer{Status: http.StatusCreated, Body: w}, nil
}

func listWaste(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return listed(chemistry.ListWaste(ctx, tx, s.Lab.ID, r.Page()))
}

// A wasteTotals is waste by month, with what handling it asks for.
type wasteTotals struct {
	Items    []chemistry.WasteTotal `json:"items"`
	Cautions []string               `json:"cautions"`
}

func getWasteTotals(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	totals, err := chemistry.WasteTotals(ctx, tx, s.Lab, r.Instant("from"), r.Instant("until"))
	return reply(wasteTotals{Items: totals, Cautions: chemistry.BathCautions("fixer", "bleach", "developer")}, err)
}
