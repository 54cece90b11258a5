package api

import (
	"context"
	"net/http"
	"slices"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
)

func filmOperations() []operation {
	const formats = "/v1/labs/:lab/formats"
	const processes = "/v1/labs/:lab/processes"
	return []operation{
		{ID: "listFormats", Method: http.MethodGet, Path: formats, Who: members, Handle: listFormats},
		{ID: "addFormat", Method: http.MethodPost, Path: formats, Who: holders(lab.RoleSteward), Handle: body(addFormat)},
		{ID: "listProcesses", Method: http.MethodGet, Path: processes, Who: members, Handle: listProcesses},
		{ID: "addProcess", Method: http.MethodPost, Path: processes, Who: holders(lab.RoleSteward), Handle: body(addProcess)},
		{ID: "getProcess", Method: http.MethodGet, Path: processes + "/:process", Who: members, Handle: getProcess},
	}
}

func listFormats(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	all, err := chemistry.Formats(ctx, tx, s.Lab.ID)
	return listed(part(all, r.Page(), func(f chemistry.Format) string { return f.Code }), err)
}

func addFormat(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request, in chemistry.Format) (Answer, error) {
	f, err := chemistry.AddFormat(ctx, tx, s, in)
	if err != nil {
		return Answer{}, err
	}
	return Answer{Status: http.StatusCreated, Body: f}, nil
}

func listProcesses(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	all, err := chemistry.Processes(ctx, tx, s.Lab.ID)
	return listed(part(all, r.Page(), func(p chemistry.Process) string { return p.Code }), err)
}

func addProcess(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request, in chemistry.ProcessDefinition) (Answer, error) {
	p, err := chemistry.AddProcess(ctx, tx, s, in)
	if err != nil {
		return Answer{}, err
	}
	return Created("/v1/labs/"+s.Lab.ID+"/processes/"+p.Code, p), nil
}

func getProcess(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(chemistry.FindProcess(ctx, tx, s.Lab.ID, r.Path("process"), number(r.Query("version"))))
}

// part is the page of a list that is short enough to be read whole.
func part[T any](all []T, p lab.Page, key func(T) string) lab.List[T] {
	from := slices.IndexFunc(all, func(x T) bool { return key(x) == p.After }) + 1
	return lab.Cut(all[from:min(from+p.Limit+1, len(all))], p, key)
}
