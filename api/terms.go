package api

import (
	"context"
	"net/http"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry/shares"
	"wetside/lab"
	"wetside/scheduling"
)

func termsOperations() []operation {
	const kit = "/v1/labs/:lab/kits/:kit"
	const change = kit + "/terms-changes/:change"
	treasurer := holders(lab.RoleTreasurer)
	return []operation{
		{ID: "getKitTerms", Method: http.MethodGet, Path: kit + "/terms", Who: members, Handle: getKitTerms},
		{ID: "enterPurchase", Method: http.MethodPost, Path: kit + "/purchase", Who: treasurer, Handle: body(enterPurchase)},
		{ID: "subscribe", Method: http.MethodPost, Path: kit + "/subscriptions", Who: members, Handle: body(subscribe)},
		{ID: "unsubscribe", Method: http.MethodDelete, Path: kit + "/subscriptions/:member", Who: members, Handle: unsubscribe},
		{ID: "proposeTerms", Method: http.MethodPost, Path: kit + "/terms-changes", Who: treasurer, Handle: body(proposeTerms)},
		{ID: "listTermsChanges", Method: http.MethodGet, Path: kit + "/terms-changes", Who: members, Handle: listTermsChanges},
		{ID: "withdrawTerms", Method: http.MethodDelete, Path: change, Who: treasurer, Handle: withdrawTerms},
		{ID: "consent", Method: http.MethodPost, Path: change + "/consents", Who: members, Handle: body(consent)},
		{ID: "estimateCost", Method: http.MethodGet, Path: "/v1/labs/:lab/estimate", Who: members, Handle: estimateCost},
	}
}

func getKitTerms(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(shares.ReadKitTerms(ctx, tx, s.Lab.ID, r.Path("kit")))
}

func enterPurchase(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in shares.NewPurchase) (Answer, error) {
	return reply(shares.EnterPurchase(ctx, tx, s, r.Path("kit"), in))
}

func subscribe(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in shares.NewSubscription) (Answer, error) {
	return reply(shares.Subscribe(ctx, tx, s, r.Path("kit"), in))
}

func unsubscribe(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return NoContent(), shares.Unsubscribe(ctx, tx, s, r.Path("kit"), r.Path("member"))
}

func proposeTerms(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in shares.NewTermsChange) (Answer, error) {
	return reply(shares.ProposeTerms(ctx, tx, s, r.Path("kit"), in))
}

func listTermsChanges(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return listed(shares.ListChanges(ctx, tx, s.Lab.ID, r.Path("kit"), r.Page()))
}

func withdrawTerms(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return NoContent(), shares.WithdrawChange(ctx, tx, s, r.Path("kit"), r.Path("change"))
}

func consent(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in shares.NewConsent) (Answer, error) {
	return reply(shares.RecordConsent(ctx, tx, s, r.Path("kit"), r.Path("change"), in))
}

func estimateCost(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(scheduling.EstimateCost(ctx, tx, s, r.Query("kit"), r.Queries("roll")))
}
