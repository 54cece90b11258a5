package api

import (
	"context"
	"net/http"
	"strconv"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/scheduling"
)

// boardPoll is how often the lab's schedule version is looked at while
// somebody listens. Polling costs one small transaction a second for each lab
// listened to; a NOTIFY in every booking would make commits wait for each other.
const boardPoll = time.Second

// admitAgain is how often a silent stream's caller is admitted anew.
const admitAgain = 30 * time.Second

func (a *API) boardOperations() []operation {
	const board = "/v1/labs/:lab/board"
	return []operation{
		{ID: "getBoard", Method: http.MethodGet, Path: board, Who: members, Handle: getBoard},
		{ID: "watchBoard", Method: http.MethodGet, Path: board + "/events", Who: members, Stream: a.watchBoard},
	}
}

func getBoard(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request) (Answer, error) {
	return reply(scheduling.ReadBoard(ctx, tx, s))
}

// watchBoard sends the whole board at first, unless the caller has it, and then
// each time that the schedule has changed.
func (a *API) watchBoard(ctx context.Context, s lab.Scope, _ Request, out *events) error {
	watched, leave := a.boards.watch(s.Lab.ID)
	defer leave()
	seen := out.LastID
	for {
		changed := watched.changed() // asked for before the board is read: no change falls between
		id, board, err := a.boardSince(ctx, out, seen)
		if err != nil {
			return err
		}
		if board != nil {
			if err := out.Send(id, "board", board); err != nil {
				return err
			}
			seen = id
		} else if err := out.write(nil); err != nil { // the header, so that the caller knows it is heard
			return err
		}
		again := time.NewTimer(admitAgain)
		select {
		case <-ctx.Done():
			again.Stop()
			return nil
		case <-changed:
		case <-again.C:
		}
		again.Stop()
	}
}

// boardSince reads the board unless its version is the one seen.
func (a *API) boardSince(ctx context.Context, out *events, seen string) (id string, board *scheduling.Board, err error) {
	err = out.InTx(ctx, func(tx pgx.Tx, s lab.Scope) error {
		board = nil
		if id = strconv.FormatInt(s.Lab.ScheduleVersion, 10); id == seen {
			return nil
		}
		b, err := scheduling.ReadBoard(ctx, tx, s)
		board = &b
		return err
	})
	return id, board, err
}
