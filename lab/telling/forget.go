package telling

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/jobs"
)

// How long things are kept: messages from when they were sent, deliveries from
// when it happened. Mail that was never taken is long given up by then.
const (
	keepMessages   = 365 * 24 * time.Hour
	keepDeliveries = 30 * 24 * time.Hour
	keepMail       = 14 * 24 * time.Hour
)

// forgetWork throws out once a day what has been kept long enough.
func forgetWork() jobs.Work {
	return jobs.Work{Kind: "forget-told", Daily: true, Do: func(ctx context.Context, tx pgx.Tx, s lab.Scope, _ json.RawMessage) error {
		for _, old := range []struct {
			table, instant string
			keep           time.Duration
		}{
			{"messages", "sent_at", keepMessages},
			{"hook_events", "at", keepDeliveries},
			{"mails", "queued_at", keepMail},
		} {
			_, err := tx.Exec(ctx, `DELETE FROM `+old.table+` WHERE lab_id = $1 AND `+old.instant+` < $2`, s.Lab.ID, s.Now.Add(-old.keep))
			if err != nil {
				return fmt.Errorf("forget %s: %w", old.table, err)
			}
		}
		return nil
	}}
}

// ForgetMember throws out what a member was told, and how they wished to hear of it.
func ForgetMember(ctx context.Context, tx pgx.Tx, s lab.Scope, m lab.Member) error {
	for _, table := range []string{"messages", "notice_wishes", "feeds"} {
		if _, err := tx.Exec(ctx, `DELETE FROM `+table+` WHERE lab_id = $1 AND member_id = $2`, s.Lab.ID, m.ID); err != nil {
			return fmt.Errorf("forget %s of member: %w", table, err)
		}
	}
	if _, err := tx.Exec(ctx, `DELETE FROM mails WHERE lab_id = $1 AND recipient = $2`, s.Lab.ID, m.Email); err != nil {
		return fmt.Errorf("forget mail of member: %w", err)
	}
	return nil
}
