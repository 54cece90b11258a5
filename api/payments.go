package api

import (
	"context"
	"net/http"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry/shares"
	"wetside/lab"
)

func paymentOperations() []operation {
	const all, one = "/v1/labs/:lab/payments", "/v1/labs/:lab/payments/:payment"
	return []operation{
		{ID: "getSettlement", Method: http.MethodGet, Path: "/v1/labs/:lab/settlement", Who: holders(lab.RoleTreasurer), Handle: getSettlement},
		{ID: "getDues", Method: http.MethodGet, Path: "/v1/labs/:lab/members/:member/dues", Who: members, Handle: getDues},
		{ID: "recordPayment", Method: http.MethodPost, Path: all, Who: members, Handle: body(recordPayment)},
		{ID: "listPayments", Method: http.MethodGet, Path: all, Who: members, Handle: listPayments},
		{ID: "getPayment", Method: http.MethodGet, Path: one, Who: members, Handle: getPayment},
		{ID: "answerPayment", Method: http.MethodPost, Path: one + "/answer", Who: members, IfMatch: getPayment, Handle: body(answerPayment)},
	}
}

func getSettlement(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request) (Answer, error) {
	return reply(shares.SettleLab(ctx, tx, s.Lab.ID))
}

func getDues(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	d, err := shares.ReadDues(ctx, tx, s, r.Path("member"))
	return reply(d, unseen(err))
}

func recordPayment(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request, in shares.NewPayment) (Answer, error) {
	p, err := shares.RecordPayment(ctx, tx, s, in)
	if err != nil {
		return Answer{}, err
	}
	return Created("/v1/labs/"+s.Lab.ID+"/payments/"+p.ID, p), nil
}

func listPayments(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return listed(shares.ListPayments(ctx, tx, s, r.Page()))
}

func getPayment(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(shares.FindPayment(ctx, tx, s, r.Path("payment")))
}

// A paymentAnswer is the payee's word.
type paymentAnswer struct {
	Received bool `json:"received"`
}

func answerPayment(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in paymentAnswer) (Answer, error) {
	return reply(shares.AnswerPayment(ctx, tx, s, r.Path("payment"), r.Version(), in.Received))
}
