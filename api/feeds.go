package api

import (
	"context"
	"net/http"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/scheduling"
)

func (a *API) feedOperations() []operation {
	const feeds = "/v1/labs/:lab/feeds"
	return []operation{
		{ID: "makeFeed", Method: http.MethodPost, Path: feeds, Who: members, Secret: true, Handle: body(a.makeFeed)},
		{ID: "listFeeds", Method: http.MethodGet, Path: feeds, Who: members, Handle: listFeeds},
		{ID: "endFeed", Method: http.MethodDelete, Path: feeds + "/:feed", Who: members, Handle: endFeed},
		{ID: "readFeed", Method: http.MethodGet, Path: "/v1/labs/:lab/calendars/:secret", Who: nobody, Handle: readFeed},
	}
}

func (a *API) makeFeed(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request, in scheduling.NewFeed) (Answer, error) {
	f, err := scheduling.MakeFeed(ctx, tx, s, in, a.random)
	if err != nil {
		return Answer{}, err
	}
	return Created("/v1/labs/"+s.Lab.ID+"/feeds/"+f.Feed.ID, f), nil
}

func listFeeds(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request) (Answer, error) {
	return listed(scheduling.Feeds(ctx, tx, s))
}

func endFeed(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	if err := scheduling.EndFeed(ctx, tx, s, r.Path("feed")); err != nil {
		return Answer{}, err
	}
	return NoContent(), nil
}

// readFeed takes no token: who has the address is let in by its secret.
func readFeed(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	text, err := scheduling.FeedCalendar(ctx, tx, s, r.Path("secret"))
	if err != nil {
		return Answer{}, err
	}
	return Tagged("text/calendar; charset=utf-8", text), nil
}
