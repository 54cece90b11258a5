package jobs

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river"

	"wetside/lab"
)

// kindEveryLab asks, for every lab, for a job of each daily kind.
const kindEveryLab = "every-lab"

// manyLabs is how many labs' jobs are asked for at a time.
const manyLabs = 500

// daily has River ask for the round of the labs every hour, and at the start or not; the
// first of a day of UTC is made, the others are there already.
func daily(atStart bool) *river.PeriodicJob {
	return river.NewPeriodicJob(river.PeriodicInterval(time.Hour), func() (river.JobArgs, *river.InsertOpts) {
		return args{kind: kindEveryLab}, &river.InsertOpts{
			Queue: queueInside, UniqueOpts: river.UniqueOpts{ByArgs: true, ByPeriod: day},
		}
	}, &river.PeriodicJobOpts{RunOnStart: atStart, ID: kindEveryLab})
}

// everyLab is the round of the labs. A lab has one job a day of each daily kind,
// however often the round is made.
func everyLab(works []Work) Work {
	return Work{Kind: kindEveryLab, Do: func(ctx context.Context, tx pgx.Tx, _ lab.Scope, _ json.RawMessage) error {
		labs, err := lab.IDs(ctx, tx)
		if err != nil {
			return err
		}
		for _, w := range works {
			if !w.Daily {
				continue
			}
			var all []request
			for _, id := range labs {
				all = append(all, request{queue: queueInside, kind: w.Kind, lab: id, daily: true})
			}
			for len(all) > 0 {
				n := min(manyLabs, len(all))
				if err := insert(ctx, tx, all[:n]...); err != nil {
					return fmt.Errorf("%s for every lab: %w", w.Kind, err)
				}
				all = all[n:]
			}
		}
		return nil
	}}
}
