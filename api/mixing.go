package api

import (
	"context"
	"net/http"
	"strconv"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
)

// handbookOperations are what stewards would otherwise look up.
func handbookOperations() []operation {
	const l = "/v1/labs/:lab/"
	return []operation{
		{ID: "measureFilm", Method: http.MethodGet, Path: l + "formats/:format/measure", Who: members, Handle: measureFilm},
		{ID: "listHandbook", Method: http.MethodGet, Path: l + "handbook", Who: members, Handle: listHandbook},
		{ID: "getIncompatibilities", Method: http.MethodGet, Path: l + "incompatibilities", Who: members, Handle: getIncompatibilities},
		{ID: "getMixingTable", Method: http.MethodGet, Path: l + "kits/:kit/mixing-table", Who: members, Handle: getMixingTable},
	}
}

func measureFilm(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(chemistry.Measured(ctx, tx, s, r.Path("format"), number(r.Query("length_mm"))))
}

func listHandbook(_ context.Context, _ pgx.Tx, _ lab.Scope, r Request) (Answer, error) {
	return Listed(part(chemistry.Handbook(), r.Page(), func(t chemistry.HandbookTable) string { return t.Code })), nil
}

// An incompatibilities is what must not be mixed.
type incompatibilities struct {
	Items    []chemistry.Incompatibility `json:"items"`
	Cautions []string                    `json:"cautions"`
}

func getIncompatibilities(context.Context, pgx.Tx, lab.Scope, Request) (Answer, error) {
	return OK(incompatibilities{Items: chemistry.Incompatibilities(), Cautions: chemistry.BathCautions()}), nil
}

func getMixingTable(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	k, err := chemistry.FindKit(ctx, tx, s.Lab.ID, r.Path("kit"))
	if err != nil {
		return Answer{}, err
	}
	return OK(chemistry.TableFor(k.Baths, number(r.Query("volume_ml")))), nil
}

// number is a query parameter that the contract says is an integer; 0 if it was not given.
func number(text string) int64 {
	n, err := strconv.ParseInt(text, 10, 64)
	if err != nil {
		return 0
	}
	return n
}
