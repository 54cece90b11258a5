package api

import (
	"context"
	"net/http"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/scheduling"
)

func directionOperations() []operation {
	steward := holders(lab.RoleSteward)
	var all []operation
	for _, kind := range []struct {
		of                scheduling.DirectionKind
		add, list, remove string
	}{
		{scheduling.Pin, "addPin", "listPins", "removePin"},
		{scheduling.Ban, "addBan", "listBans", "removeBan"},
	} {
		path := "/v1/labs/:lab/" + string(kind.of) + "s"
		all = append(all,
			operation{ID: kind.add, Method: http.MethodPost, Path: path, Who: steward, Handle: body(direct(kind.of))},
			operation{ID: kind.list, Method: http.MethodGet, Path: path, Who: steward, Handle: listDirections(kind.of)},
			operation{ID: kind.remove, Method: http.MethodDelete, Path: path + "/:" + string(kind.of), Who: steward, Handle: undirect(kind.of)},
		)
	}
	return all
}

func direct(kind scheduling.DirectionKind) func(context.Context, pgx.Tx, lab.Scope, Request, scheduling.NewDirection) (Answer, error) {
	return func(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request, in scheduling.NewDirection) (Answer, error) {
		d, err := scheduling.Direct(ctx, tx, s, kind, in)
		if err != nil {
			return Answer{}, err
		}
		return Answer{Status: http.StatusCreated, Body: d}, nil
	}
}

func listDirections(kind scheduling.DirectionKind) handler {
	return func(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
		return listed(scheduling.ListDirections(ctx, tx, s.Lab.ID, kind, r.Page()))
	}
}

func undirect(kind scheduling.DirectionKind) handler {
	return func(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
		if err := scheduling.Undirect(ctx, tx, s, kind, r.Path(string(kind))); err != nil {
			return Answer{}, err
		}
		return NoContent(), nil
	}
}
