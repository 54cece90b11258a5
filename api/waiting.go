package api

import (
	"context"
	"net/http"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/scheduling"
)

func waitingOperations() []operation {
	const list, entry = "/v1/labs/:lab/waiting-list", "/v1/labs/:lab/waiting-list/:waiting"
	return []operation{
		{ID: "joinWaitingList", Method: http.MethodPost, Path: list, Who: members, Handle: body(joinWaitingList)},
		{ID: "listWaiting", Method: http.MethodGet, Path: list, Who: members, Handle: listWaiting},
		{ID: "getWaiting", Method: http.MethodGet, Path: entry, Who: members, Handle: getWaiting},
		{ID: "leaveWaitingList", Method: http.MethodDelete, Path: entry, Who: members, IfMatch: getWaiting, Handle: leaveWaitingList},
		{ID: "acceptOffer", Method: http.MethodPost, Path: entry + "/acceptance", Who: members, IfMatch: getWaiting, Handle: acceptOffer},
		{ID: "declineOffer", Method: http.MethodPost, Path: entry + "/declining", Who: members, IfMatch: getWaiting, Handle: declineOffer},
	}
}

func joinWaitingList(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request, in scheduling.NewWaiting) (Answer, error) {
	w, err := scheduling.Wait(ctx, tx, s, in)
	if err != nil {
		return Answer{}, err
	}
	return Created("/v1/labs/"+s.Lab.ID+"/waiting-list/"+w.ID, w), nil
}

func listWaiting(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return listed(scheduling.ListWaiting(ctx, tx, s, r.Page()))
}

func getWaiting(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(scheduling.FindWaiting(ctx, tx, s, r.Path("waiting")))
}

func leaveWaitingList(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	if err := scheduling.LeaveList(ctx, tx, s, r.Path("waiting"), r.Version()); err != nil {
		return Answer{}, err
	}
	return NoContent(), nil
}

func acceptOffer(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(scheduling.AcceptOffer(ctx, tx, s, r.Path("waiting"), r.Version()))
}

func declineOffer(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(scheduling.DeclineOffer(ctx, tx, s, r.Path("waiting"), r.Version()))
}
