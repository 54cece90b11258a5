package api

import (
	"context"
	"net/http"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/scheduling"
)

func sessionOperations() []operation {
	const sessions, session = "/v1/labs/:lab/sessions", "/v1/labs/:lab/sessions/:session"
	steward := holders(lab.RoleSteward)
	return []operation{
		{ID: "addSession", Method: http.MethodPost, Path: sessions, Who: steward, Handle: body(addSession)},
		{ID: "listSessions", Method: http.MethodGet, Path: sessions, Who: members, Handle: listSessions},
		{ID: "getSession", Method: http.MethodGet, Path: session, Who: members, Handle: getSession},
		{ID: "cancelSession", Method: http.MethodPost, Path: session + "/cancellation", Who: steward, IfMatch: getSession, Handle: cancelSession},
		{ID: "findAvailability", Method: http.MethodPost, Path: "/v1/labs/:lab/availability", Who: members, AsksOnly: true, Handle: body(findAvailability), Within: planTime},
	}
}

func addSession(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request, in scheduling.NewSession) (Answer, error) {
	e, err := scheduling.AddSession(ctx, tx, s, in)
	if err != nil {
		return Answer{}, err
	}
	return Created("/v1/labs/"+s.Lab.ID+"/sessions/"+e.ID, e), nil
}

// usualSpan is how far ahead sessions are listed unless until says otherwise.
const usualSpan = 14 * 24 * time.Hour

func listSessions(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	from, until := s.Now, s.Now.Add(usualSpan)
	if t := r.Instant("from"); t != nil {
		from, until = *t, t.Add(usualSpan)
	}
	if t := r.Instant("until"); t != nil {
		until = *t
	}
	found, err := scheduling.ListSessions(ctx, tx, s, from, until, r.Page())
	if err != nil {
		return Answer{}, err
	}
	open, err := scheduling.WithPlaces(ctx, tx, s, found.Items, r.Queries("places_for"))
	return listed(lab.List[scheduling.OpenSession]{Items: open, NextCursor: found.NextCursor}, err)
}

func getSession(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	found, err := scheduling.FindSession(ctx, tx, s, r.Path("session"))
	if err != nil {
		return Answer{}, err
	}
	open, err := scheduling.WithPlaces(ctx, tx, s, []scheduling.Session{found}, nil)
	if err != nil {
		return Answer{}, err
	}
	return OK(open[0]), nil
}

func cancelSession(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(scheduling.CancelSession(ctx, tx, s, r.Path("session"), r.Version()))
}

func findAvailability(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request, in scheduling.Wish) (Answer, error) {
	return reply(scheduling.FindAvailability(ctx, tx, s, in))
}
