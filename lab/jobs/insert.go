package jobs

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
)

const (
	queueInside  = "inside"
	queueOutside = "outside"
)

// args are what a job is kept as. Each kind of ours is one of River's.
type args struct {
	kind    string
	Lab     string          `json:"lab,omitempty"`
	Payload json.RawMessage `json:"payload,omitempty"`

	// later is what the try under way was asked to wait; it is not kept.
	later time.Duration
}

// Kind is River's name of the job.
func (a args) Kind() string { return a.kind }

// request is one job asked for.
type request struct {
	queue, kind, lab string
	after            time.Duration
	payload          any
	daily            bool // once a day of UTC at most
}

// inserter is a River client that only inserts, by the caller's transaction: it
// has no connection.
var inserter = sync.OnceValues(func() (*river.Client[pgx.Tx], error) {
	return river.NewClient(riverpgxv5.New(nil), &river.Config{Logger: slog.New(slog.DiscardHandler)})
})

func insert(ctx context.Context, tx pgx.Tx, all ...request) error {
	client, err := inserter()
	if err != nil {
		return fmt.Errorf("jobs: %w", err)
	}
	var params []river.InsertManyParams
	for _, r := range all {
		var raw json.RawMessage
		if r.payload != nil {
			if raw, err = json.Marshal(r.payload); err != nil {
				return fmt.Errorf("ask for %s: %w", r.kind, err)
			}
		}
		opts := &river.InsertOpts{Queue: r.queue}
		if r.after > 0 {
			opts.ScheduledAt = time.Now().Add(r.after)
		}
		if r.daily {
			opts.UniqueOpts = river.UniqueOpts{ByArgs: true, ByPeriod: day}
		}
		params = append(params, river.InsertManyParams{Args: args{kind: r.kind, Lab: r.lab, Payload: raw}, InsertOpts: opts})
	}
	if len(params) == 0 {
		return nil
	}
	if _, err := client.InsertManyTx(ctx, tx, params); err != nil {
		return fmt.Errorf("ask for jobs: %w", err)
	}
	return nil
}
