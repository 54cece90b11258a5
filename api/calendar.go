package api

import (
	"context"
	"net/http"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/scheduling"
)

func calendarOperations() []operation {
	const calendar = "/v1/labs/:lab/calendar"
	const openings, opening = "/v1/labs/:lab/openings", "/v1/labs/:lab/openings/:opening"
	const closures, extras = "/v1/labs/:lab/closures", "/v1/labs/:lab/extra-days"
	steward := holders(lab.RoleSteward)
	return []operation{
		{ID: "getCalendar", Method: http.MethodGet, Path: calendar, Who: members, Handle: getCalendar},
		{ID: "updateCalendar", Method: http.MethodPatch, Path: calendar, Who: steward, IfMatch: getCalendar, Handle: freeing(body(updateCalendar))},
		{ID: "addOpening", Method: http.MethodPost, Path: openings, Who: steward, Handle: freeing(body(addOpening))},
		{ID: "listOpenings", Method: http.MethodGet, Path: openings, Who: members, Handle: listOpenings},
		{ID: "getOpening", Method: http.MethodGet, Path: opening, Who: members, Handle: getOpening},
		{ID: "updateOpening", Method: http.MethodPatch, Path: opening, Who: steward, IfMatch: getOpening, Handle: freeing(body(updateOpening))},
		{ID: "endOpening", Method: http.MethodPost, Path: opening + "/ending", Who: steward, IfMatch: getOpening, Handle: freeing(endOpening)},
		{ID: "addClosure", Method: http.MethodPost, Path: closures, Who: steward, Handle: freeing(body(addClosure))},
		{ID: "listClosures", Method: http.MethodGet, Path: closures, Who: members, Handle: listClosures},
		{ID: "endClosure", Method: http.MethodPost, Path: closures + "/:closure/ending", Who: steward, Handle: freeing(endClosure)},
		{ID: "addExtraDay", Method: http.MethodPost, Path: extras, Who: steward, Handle: freeing(body(addExtraDay))},
		{ID: "listExtraDays", Method: http.MethodGet, Path: extras, Who: members, Handle: listExtraDays},
		{ID: "cancelExtraDay", Method: http.MethodPost, Path: extras + "/:extra/cancellation", Who: steward, Handle: freeing(cancelExtraDay)},
		{ID: "openWeek", Method: http.MethodPost, Path: "/v1/labs/:lab/weeks", Who: steward, Handle: freeing(body(openWeek))},
	}
}

func getCalendar(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request) (Answer, error) {
	return reply(scheduling.ReadCalendar(ctx, tx, s.Lab.ID))
}

func updateCalendar(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in scheduling.CalendarSettings) (Answer, error) {
	return reply(scheduling.ChangeCalendar(ctx, tx, s, r.Version(), in))
}

func addOpening(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request, in scheduling.NewOpening) (Answer, error) {
	o, err := scheduling.AddOpening(ctx, tx, s, in)
	if err != nil {
		return Answer{}, err
	}
	return Created("/v1/labs/"+s.Lab.ID+"/openings/"+o.ID, o), nil
}

func listOpenings(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return listed(scheduling.ListOpenings(ctx, tx, s.Lab.ID, r.Page()))
}

func getOpening(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(scheduling.FindOpening(ctx, tx, s.Lab.ID, r.Path("opening")))
}

func updateOpening(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in scheduling.OpeningChange) (Answer, error) {
	return reply(scheduling.ChangeOpening(ctx, tx, s, r.Path("opening"), r.Version(), in))
}

func endOpening(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(scheduling.EndOpening(ctx, tx, s, r.Path("opening"), r.Version()))
}

func addClosure(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request, in scheduling.NewClosure) (Answer, error) {
	c, err := scheduling.Close(ctx, tx, s, in)
	return Answer{Status: http.StatusCreated, Body: c}, err
}

func listClosures(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return listed(scheduling.ListClosures(ctx, tx, s.Lab.ID, r.Page()))
}

func endClosure(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(scheduling.Reopen(ctx, tx, s, r.Path("closure")))
}

func addExtraDay(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request, in scheduling.NewExtraDay) (Answer, error) {
	x, err := scheduling.AddExtraDay(ctx, tx, s, in)
	return Answer{Status: http.StatusCreated, Body: x}, err
}

func listExtraDays(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return listed(scheduling.ListExtraDays(ctx, tx, s.Lab.ID, r.Page()))
}

func cancelExtraDay(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(scheduling.CancelExtraDay(ctx, tx, s, r.Path("extra")))
}

func openWeek(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request, in scheduling.NewWeek) (Answer, error) {
	return reply(scheduling.OpenWeek(ctx, tx, s, in))
}
