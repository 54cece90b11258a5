package scheduling

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/jobs"
	"wetside/lab/telling"
)

// filmDries is the job that tells a member that their film of a run is dry.
const filmDries = "film-dries"

// drying is a member's film of a run that hangs to dry.
type drying struct {
	Run    string `json:"run"`
	Batch  string `json:"batch"`
	Member string `json:"member"`
}

// tellRun tells the members whose film was in a run what came of it: at once
// if it was spoiled, else when the last of their film in it is dry.
func tellRun(ctx context.Context, tx pgx.Tx, s lab.Scope, run Run) error {
	rows, err := tx.Query(ctx, `
		SELECT r.member_id, count(*), max(k.dry_at) FROM batch_rolls k
		JOIN rolls r ON r.lab_id = k.lab_id AND r.id = k.roll_id
		WHERE k.lab_id = $1 AND k.batch_id = $2 AND k.live GROUP BY r.member_id ORDER BY r.member_id`, s.Lab.ID, run.Batch)
	if err != nil {
		return fmt.Errorf("tell of a run: %w", err)
	}
	type part struct {
		Member string
		Rolls  int
		Dry    time.Time
	}
	parts, err := pgx.CollectRows(rows, pgx.RowToStructByPos[part])
	if err != nil {
		return fmt.Errorf("tell of a run: %w", err)
	}
	for _, p := range parts {
		if run.Outcome == RunDone {
			err = jobs.At(ctx, tx, s, filmDries, p.Dry, drying{run.ID, run.Batch, p.Member})
		} else {
			err = telling.Tell(ctx, tx, s, telling.Notice{Kind: telling.RunSpoiled, To: []string{p.Member}, About: run.ID,
				Words: map[string]string{"rolls": counted(p.Rolls)}})
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// filmDry is what is done then. Film that was fetched before is told of no more.
func filmDry() jobs.Work {
	return jobs.Work{Kind: filmDries, Do: jobs.Payload(func(ctx context.Context, tx pgx.Tx, s lab.Scope, in drying) error {
		var rolls int
		var dry *time.Time
		err := tx.QueryRow(ctx, `
			SELECT count(*), max(k.dry_at) FROM batch_rolls k
			JOIN rolls r ON r.lab_id = k.lab_id AND r.id = k.roll_id AND r.member_id = $3 AND r.status = 'processed'
			WHERE k.lab_id = $1 AND k.batch_id = $2 AND k.live`, s.Lab.ID, in.Batch, in.Member).Scan(&rolls, &dry)
		if err != nil {
			return fmt.Errorf("look for dry film: %w", err)
		}
		if rolls == 0 {
			return nil
		}
		return telling.Tell(ctx, tx, s, telling.Notice{Kind: telling.FilmDry, To: []string{in.Member}, About: in.Run,
			Words: map[string]string{"rolls": counted(rolls), "when": telling.When(s.Lab, *dry)}})
	})}
}
