package scheduling

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// boardSpan is how far ahead the board shows.
const boardSpan = 14 * 24 * time.Hour

// boardMost is how many sessions go on a board.
const boardMost = 500

// A Board is what hangs on the lab's wall: the sessions to come, how many places
// of each are taken, and what will run in it. It names nobody.
type Board struct {
	// ScheduleVersion tells boards apart: it is the lab's.
	ScheduleVersion int64          `json:"schedule_version"`
	Sessions        []BoardSession `json:"sessions"`
}

// A BoardSession is a session as all may see it.
type BoardSession struct {
	ID          string       `json:"id"`
	Tank        string       `json:"tank"`
	Start       time.Time    `json:"start"`
	End         time.Time    `json:"end"`
	Cancelled   bool         `json:"cancelled"`
	PlacesTaken int64        `json:"places_taken"`
	Batches     []BoardBatch `json:"batches"`
}

// A BoardBatch is a batch as all may see it.
type BoardBatch struct {
	ID      string    `json:"id"`
	Process string    `json:"process"`
	Start   time.Time `json:"start"`
	End     time.Time `json:"end"`
	Status  string    `json:"status"`
	Rolls   int64     `json:"rolls"`
}

// ReadBoard reads the board of the fourteen days from s.Now, with the sessions
// under way.
func ReadBoard(ctx context.Context, tx pgx.Tx, s lab.Scope) (Board, error) {
	b := Board{ScheduleVersion: s.Lab.ScheduleVersion, Sessions: []BoardSession{}}
	open, err := ListSessions(ctx, tx, s, s.Now, s.Now.Add(boardSpan), lab.Page{Limit: boardMost})
	if err != nil {
		return Board{}, err
	}
	at := map[string]int{}
	for i, e := range open.Items {
		at[e.ID] = i
		b.Sessions = append(b.Sessions, BoardSession{ID: e.ID, Tank: e.Tank, Start: e.Start, End: e.End,
			Cancelled: e.CancelledAt != nil, PlacesTaken: e.PlacesTaken, Batches: []BoardBatch{}})
	}
	rows, err := tx.Query(ctx, `
		SELECT t.session_id, t.id, t.process, t.start_at, t.end_at, t.status,
			(SELECT count(*) FROM batch_rolls r WHERE r.lab_id = t.lab_id AND r.batch_id = t.id AND r.live)
		FROM batches t
		JOIN sessions e ON e.lab_id = t.lab_id AND e.id = t.session_id
		WHERE t.lab_id = $1 AND t.status <> 'cancelled' AND e.starts_at > $2 AND e.ends_at > $3 AND e.starts_at < $4
		ORDER BY t.start_at, t.id`, s.Lab.ID, s.Now.Add(-longestSession), s.Now, s.Now.Add(boardSpan))
	if err != nil {
		return Board{}, fmt.Errorf("read board: %w", err)
	}
	var session string
	var batch BoardBatch
	_, err = pgx.ForEachRow(rows, []any{&session, &batch.ID, &batch.Process, &batch.Start, &batch.End, &batch.Status, &batch.Rolls}, func() error {
		if i, ok := at[session]; ok {
			b.Sessions[i].Batches = append(b.Sessions[i].Batches, batch)
		}
		return nil
	})
	if err != nil {
		return Board{}, fmt.Errorf("read board: %w", err)
	}
	return b, nil
}

// Revision is the lab's schedule version.
func (b Board) Revision() int64 { return b.ScheduleVersion }
