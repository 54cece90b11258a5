package chemistry

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// Processes are the newest versions of the lab's processes: built-in codes in
// their order, then the lab's own by code.
func Processes(ctx context.Context, tx pgx.Tx, labID string) ([]Process, error) {
	rows, err := tx.Query(ctx, `
		SELECT DISTINCT ON (code) version, definition
		FROM processes WHERE lab_id = $1
		ORDER BY code, version DESC`, labID)
	if err != nil {
		return nil, fmt.Errorf("list processes: %w", err)
	}
	own, err := pgx.CollectRows(rows, scanProcess)
	if err != nil {
		return nil, fmt.Errorf("list processes: %w", err)
	}
	all := BuiltInProcesses()
	builtIn := map[string]int{}
	for i, p := range all {
		builtIn[p.Code] = i
	}
	for _, p := range own {
		if i, overrides := builtIn[p.Code]; overrides {
			all[i] = p
		} else {
			all = append(all, p)
		}
	}
	return all, nil
}

// FindProcess reads a version of a process, 0 standing for the newest. Version
// 1 of a built-in code is the built-in one. It refuses with NotFound.
func FindProcess(ctx context.Context, tx pgx.Tx, labID, code string, version int64) (Process, error) {
	builtIn, isBuiltIn := indexOf(BuiltInProcesses(), func(p Process) bool { return p.Code == code })
	if isBuiltIn && version == builtIn.Version {
		return builtIn, nil
	}
	rows, err := tx.Query(ctx, `
		SELECT version, definition
		FROM processes WHERE lab_id = $1 AND code = $2 AND $3::bigint IN (0, version)
		ORDER BY version DESC LIMIT 1`, labID, code, version)
	if err != nil {
		return Process{}, fmt.Errorf("find process: %w", err)
	}
	found, err := pgx.CollectRows(rows, scanProcess)
	switch {
	case err != nil:
		return Process{}, fmt.Errorf("find process: %w", err)
	case len(found) == 1:
		return found[0], nil
	case isBuiltIn && version == 0:
		return builtIn, nil
	}
	return Process{}, notFound("process")
}

// AddProcess adds a process of the lab's own, or a new version of one, which
// overrides those before it, the built-in one too. It refuses with invalid.
func AddProcess(ctx context.Context, tx pgx.Tx, s lab.Scope, d ProcessDefinition) (Process, error) {
	if err := refuseFaults("", d.Validate()...); err != nil {
		return Process{}, err
	}
	// This locks the lab's row, so that versions are counted one after another.
	if err := lab.Touch(ctx, tx, s.Lab.ID); err != nil {
		return Process{}, err
	}
	p := Process{ProcessDefinition: d.listed()}
	before := int64(0)
	if _, isBuiltIn := indexOf(BuiltInProcesses(), func(b Process) bool { return b.Code == d.Code }); isBuiltIn {
		before = 1
	}
	err := tx.QueryRow(ctx, `
		INSERT INTO processes (lab_id, code, version, definition, created_at)
		SELECT $1, $2, coalesce(max(version), $5::bigint) + 1, $3, $4
		FROM processes WHERE lab_id = $1 AND code = $2
		RETURNING version`,
		s.Lab.ID, d.Code, d, s.Now, before).Scan(&p.Version)
	if err != nil {
		return Process{}, fmt.Errorf("add process: %w", err)
	}
	return p, nil
}

func scanProcess(row pgx.CollectableRow) (Process, error) {
	var p Process
	err := row.Scan(&p.Version, &p.ProcessDefinition)
	p.ProcessDefinition = p.listed()
	return p, err
}
