package api

import (
	"context"
	"net/http"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry/shares"
	"wetside/lab"
	"wetside/scheduling"
)

func moneyOperations() []operation {
	const of = "/v1/labs/:lab"
	treasurer := holders(lab.RoleTreasurer)
	return []operation{
		{ID: "listEntries", Method: http.MethodGet, Path: of + "/entries", Who: treasurer, Handle: listEntries},
		{ID: "getEntry", Method: http.MethodGet, Path: of + "/entries/:entry", Who: treasurer, Handle: getEntry},
		{ID: "reverseEntry", Method: http.MethodPost, Path: of + "/entries/:entry/reversal", Who: treasurer, Handle: body(reverseEntry)},
		{ID: "chargeRunAnew", Method: http.MethodPost, Path: of + "/runs/:run/charge", Who: treasurer, Handle: chargeRunAnew},
		{ID: "closeMonth", Method: http.MethodPost, Path: of + "/months", Who: treasurer, Handle: body(closeMonth)},
		{ID: "listMonths", Method: http.MethodGet, Path: of + "/months", Who: treasurer, Handle: listMonths},
		{ID: "getMoneyRules", Method: http.MethodGet, Path: of + "/money-rules", Who: members, Handle: getMoneyRules},
		{ID: "updateMoneyRules", Method: http.MethodPatch, Path: of + "/money-rules", Who: treasurer, IfMatch: getMoneyRules, Handle: body(updateMoneyRules)},
		{ID: "addGuest", Method: http.MethodPost, Path: of + "/guests", Who: members, Handle: body(addGuest)},
		{ID: "listGuests", Method: http.MethodGet, Path: of + "/guests", Who: holders(lab.RoleSteward, lab.RoleTreasurer), Handle: listGuests},
		{ID: "leaveLab", Method: http.MethodPost, Path: of + "/members/:member/departure", Who: holders(lab.RoleKeeper), Handle: leaveLab},
		{ID: "writeOff", Method: http.MethodPost, Path: of + "/members/:member/write-off", Who: treasurer, Handle: body(writeOff)},
		{ID: "giveRoll", Method: http.MethodPost, Path: of + "/rolls/:roll/gift", Who: holders(lab.RoleSteward), Handle: body(giveRoll)},
	}
}

func listEntries(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return listed(shares.ListEntries(ctx, tx, s.Lab.ID, given(r, "kit"), r.Page()))
}

// given is a query parameter, or nil.
func given(r Request, name string) *string {
	if v := r.Query(name); v != "" {
		return &v
	}
	return nil
}

func getEntry(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(shares.FindEntry(ctx, tx, s.Lab.ID, r.Path("entry")))
}

func reverseEntry(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in shares.NewReversal) (Answer, error) {
	e, err := shares.Reverse(ctx, tx, s, r.Path("entry"), in.Reason)
	if err != nil {
		return Answer{}, err
	}
	return Created("/v1/labs/"+s.Lab.ID+"/entries/"+e.ID, e), nil
}

func chargeRunAnew(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(shares.ChargeAnew(ctx, tx, s, r.Path("run")))
}

func closeMonth(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request, in shares.NewClosedMonth) (Answer, error) {
	return reply(shares.CloseMonth(ctx, tx, s, in))
}

func listMonths(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return listed(shares.ListMonths(ctx, tx, s.Lab.ID, r.Page()))
}

func getMoneyRules(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request) (Answer, error) {
	return reply(shares.ReadMoneyRules(ctx, tx, s.Lab.ID))
}

func updateMoneyRules(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in shares.MoneyRulesChange) (Answer, error) {
	return reply(shares.ChangeMoneyRules(ctx, tx, s, r.Version(), in))
}

func addGuest(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request, in shares.NewGuest) (Answer, error) {
	return reply(shares.AddGuest(ctx, tx, s, in))
}

func listGuests(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return listed(shares.ListGuests(ctx, tx, s.Lab.ID, r.Page()))
}

func leaveLab(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(scheduling.Leave(ctx, tx, s, r.Path("member")))
}

// A writingOff is why a balance is written off.
type writingOff struct {
	Reason string `json:"reason"`
}

func writeOff(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in writingOff) (Answer, error) {
	e, err := shares.WriteOff(ctx, tx, s, r.Path("member"), in.Reason)
	if err != nil {
		return Answer{}, err
	}
	return Created("/v1/labs/"+s.Lab.ID+"/entries/"+e.ID, e), nil
}

func giveRoll(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in shares.NewGift) (Answer, error) {
	return reply(shares.GiveRoll(ctx, tx, s, r.Path("roll"), in))
}
