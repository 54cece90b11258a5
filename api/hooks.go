package api

import (
	"context"
	"net/http"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/telling"
)

func (a *API) hookOperations() []operation {
	const all, one = "/v1/labs/:lab/hooks", "/v1/labs/:lab/hooks/:hook"
	keepers := holders(lab.RoleSteward, lab.RoleKeeper)
	return []operation{
		{ID: "addHook", Method: http.MethodPost, Path: all, Who: keepers, Secret: true, Handle: body(a.addHook)},
		{ID: "listHooks", Method: http.MethodGet, Path: all, Who: keepers, Handle: a.listHooks},
		{ID: "getHook", Method: http.MethodGet, Path: one, Who: keepers, Handle: a.getHook},
		{ID: "removeHook", Method: http.MethodDelete, Path: one, Who: keepers, IfMatch: a.getHook, Handle: a.removeHook},
		{ID: "rotateHookSecret", Method: http.MethodPost, Path: one + "/secrets", Who: keepers, Secret: true, Handle: a.rotateHookSecret},
		{ID: "enableHook", Method: http.MethodPost, Path: one + "/enabling", Who: keepers, Handle: a.enableHook},
		{ID: "pingHook", Method: http.MethodPost, Path: one + "/pings", Who: keepers, Handle: a.pingHook},
		{ID: "listDeliveries", Method: http.MethodGet, Path: one + "/deliveries", Who: keepers, Handle: a.listDeliveries},
	}
}

// Hooks is what web hooks go by, for those who send to them.
func (a *API) Hooks() telling.Hooks {
	return telling.Hooks{Key: a.mint.derived("web hooks"), Anywhere: a.trial}
}

func (a *API) addHook(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request, in telling.NewHook) (Answer, error) {
	h, err := a.Hooks().Add(ctx, tx, s, in)
	if err != nil {
		return Answer{}, err
	}
	return Created("/v1/labs/"+s.Lab.ID+"/hooks/"+h.Hook.ID, h), nil
}

func (a *API) listHooks(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return listed(a.Hooks().List(ctx, tx, s, r.Page()))
}

func (a *API) getHook(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(a.Hooks().Find(ctx, tx, s, r.Path("hook")))
}

func (a *API) removeHook(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	if err := a.Hooks().Remove(ctx, tx, s, r.Path("hook"), r.Version()); err != nil {
		return Answer{}, err
	}
	return NoContent(), nil
}

func (a *API) rotateHookSecret(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	h, err := a.Hooks().Rotate(ctx, tx, s, r.Path("hook"), r.Clock)
	if err != nil {
		return Answer{}, err
	}
	return Answer{Status: http.StatusCreated, Location: "/v1/labs/" + s.Lab.ID + "/hooks/" + h.Hook.ID, Body: h}, nil
}

func (a *API) enableHook(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(a.Hooks().Enable(ctx, tx, s, r.Path("hook")))
}

func (a *API) pingHook(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(a.Hooks().Ping(ctx, tx, s, r.Path("hook")))
}

func (a *API) listDeliveries(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return listed(a.Hooks().Deliveries(ctx, tx, s, r.Path("hook"), r.Page()))
}
