package api

import (
	"context"
	"net/http"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/scheduling"
)

func personalOperations() []operation {
	const one = "/v1/labs/:lab/members/:member"
	return []operation{
		{ID: "getPersonalData", Method: http.MethodGet, Path: one + "/personal-data", Who: members, Handle: getPersonalData},
		{ID: "eraseMember", Method: http.MethodPost, Path: one + "/erasure", Who: holders(lab.RoleKeeper), Handle: eraseMember},
	}
}

func getPersonalData(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	if err := selfOr(ctx, tx, s, r, lab.RoleKeeper); err != nil {
		return Answer{}, err
	}
	return reply(lab.Personal(ctx, tx, s, r.Path("member")))
}

func eraseMember(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(scheduling.Erase(ctx, tx, s, r.Path("member")))
}
