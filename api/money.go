package api

import (
	"context"
	"net/http"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry/shares"
	"wetside/lab"
)

func moneyOperations() []operation {
	const of = "/v1/labs/:lab"
	treasurer := holders(lab.RoleTreasurer)
	return []operation{
		{ID: "listEntries", Method: http.MethodGet, Path: of + "/entries", Who: treasurer, Handle: listEntries},
		{ID: "getStatement", Method: http.MethodGet, Path: of + "/members/:member/statement", Who: members, Handle: getStatement},
		{ID: "getKitAccount", Method: http.MethodGet, Path: of + "/kits/:kit/account", Who: treasurer, Handle: getKitAccount},
		{ID: "getSettlement", Method: http.MethodGet, Path: of + "/settlement", Who: treasurer, Handle: getSettlement},
	}
}

func listEntries(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	var kit *string
	if k := r.Query("kit"); k != "" {
		kit = &k
	}
	return listed(shares.ListEntries(ctx, tx, s.Lab.ID, kit, r.Page()))
}

// getStatement reads a member's statement: everybody their own, treasurers any.
// To those who may not, nobody else is there.
func getStatement(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	member := r.Path("member")
	if member != s.By.ID && !s.By.Has(lab.RoleTreasurer) {
		return Answer{}, lab.Refuse(lab.NotFound, "not-found", "there is no such member")
	}
	return reply(shares.ReadStatement(ctx, tx, s, member, r.Instant("from"), r.Instant("until")))
}

func getKitAccount(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(shares.ReadKitAccount(ctx, tx, s.Lab.ID, r.Path("kit")))
}

func getSettlement(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request) (Answer, error) {
	return reply(shares.SettleLab(ctx, tx, s.Lab.ID))
}
