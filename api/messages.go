package api

import (
	"context"
	"net/http"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/telling"
)

func messageOperations() []operation {
	const messages, wishes = "/v1/labs/:lab/messages", "/v1/labs/:lab/notice-wishes"
	return []operation{
		{ID: "listMessages", Method: http.MethodGet, Path: messages, Who: members, Handle: listMessages},
		{ID: "readMessages", Method: http.MethodPost, Path: messages + "/reading", Who: members, Handle: body(readMessages)},
		{ID: "readMessage", Method: http.MethodPost, Path: messages + "/:message/reading", Who: members, Handle: readMessage},
		{ID: "listNoticeWishes", Method: http.MethodGet, Path: wishes, Who: members, Handle: listNoticeWishes},
		{ID: "chooseNotices", Method: http.MethodPut, Path: wishes + "/:kind", Who: members, Handle: body(chooseNotices)},
	}
}

func listMessages(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return listed(telling.Messages(ctx, tx, s, r.Page()))
}

func readMessages(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request, in telling.ReadUpTo) (Answer, error) {
	return reply(telling.MarkReadUpTo(ctx, tx, s, in))
}

func readMessage(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(telling.MarkRead(ctx, tx, s, r.Path("message")))
}

func listNoticeWishes(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request) (Answer, error) {
	return listed(telling.Wishes(ctx, tx, s))
}

func chooseNotices(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in telling.WishChange) (Answer, error) {
	return reply(telling.Choose(ctx, tx, s, telling.Kind(r.Path("kind")), in))
}
