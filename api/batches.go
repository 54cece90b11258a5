package api

import (
	"context"
	"net/http"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
	"wetside/lab/units"
	"wetside/scheduling"
)

func batchOperations() []operation {
	const batches, batch = "/v1/labs/:lab/batches", "/v1/labs/:lab/batches/:batch"
	const runs = "/v1/labs/:lab/runs"
	steward := holders(lab.RoleSteward)
	return []operation{
		{ID: "listBatches", Method: http.MethodGet, Path: batches, Who: steward, Handle: listBatches},
		{ID: "getBatch", Method: http.MethodGet, Path: batch, Who: steward, Handle: getBatch},
		{ID: "getRunSheet", Method: http.MethodGet, Path: batch + "/run-sheet", Who: steward, Handle: getRunSheet},
		{ID: "recordRun", Method: http.MethodPost, Path: batch + "/run", Who: steward, Handle: body(recordRun)},
		{ID: "cancelBatch", Method: http.MethodPost, Path: batch + "/cancellation", Who: steward, IfMatch: getBatch, Handle: cancelBatch},
		{ID: "listRuns", Method: http.MethodGet, Path: runs, Who: steward, Handle: listRuns},
		{ID: "getRun", Method: http.MethodGet, Path: runs + "/:run", Who: steward, Handle: getRun},
		{ID: "readRun", Method: http.MethodPost, Path: runs + "/:run/readings", Who: steward, Handle: body(readRun)},
		{ID: "getTrace", Method: http.MethodGet, Path: "/v1/labs/:lab/trace", Who: steward, Handle: getTrace},
	}
}

func listBatches(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	f := scheduling.BatchFilter{Session: r.Query("session"), Status: r.Query("status")}
	return listed(scheduling.ListBatches(ctx, tx, s.Lab.ID, f, r.Page()))
}

func getBatch(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(scheduling.FindBatch(ctx, tx, s.Lab.ID, r.Path("batch")))
}

func getRunSheet(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	var developer *units.Temperature
	if t, err := units.ParseTemperature(r.Query("developer_temperature")); err == nil {
		developer = &t
	}
	return reply(scheduling.FindRunSheet(ctx, tx, s, r.Path("batch"), developer))
}

func recordRun(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in scheduling.NewRun) (Answer, error) {
	run, err := scheduling.RecordRun(ctx, tx, s, r.Path("batch"), in)
	if err != nil {
		return Answer{}, err
	}
	return Created("/v1/labs/"+s.Lab.ID+"/runs/"+run.ID, run), nil
}

func cancelBatch(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(scheduling.CancelBatch(ctx, tx, s, r.Path("batch"), r.Version()))
}

func listRuns(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return listed(scheduling.ListRuns(ctx, tx, s.Lab.ID, r.Page()))
}

func getRun(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(scheduling.FindRun(ctx, tx, s.Lab.ID, r.Path("run")))
}

func readRun(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in chemistry.Reading) (Answer, error) {
	reading, err := scheduling.ReadRun(ctx, tx, s, r.Path("run"), in)
	if err != nil {
		return Answer{}, err
	}
	return Answer{Status: http.StatusCreated, Body: reading}, nil
}

func getTrace(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(scheduling.FindTrace(ctx, tx, s, r.Query("of")))
}
