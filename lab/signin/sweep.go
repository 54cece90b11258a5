package signin

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/jobs"
)

// kept is how long what has expired is kept, so that it can be looked into what
// happened: sign-ins with their refresh tokens, codes, invitations, wrong passwords.
const kept = 30 * 24 * time.Hour

// keptRequests is how long a request for a code is kept that no job has taken up.
const keptRequests = 24 * time.Hour

// sweepWork has it done once a day.
func sweepWork() jobs.Work {
	return jobs.Work{Kind: "forget-sign-ins", Daily: true, Do: func(ctx context.Context, tx pgx.Tx, s lab.Scope, _ json.RawMessage) error {
		return sweep(ctx, tx, s.Lab.ID, s.Now)
	}}
}

// sweep forgets what has expired in a lab for long.
func sweep(ctx context.Context, tx pgx.Tx, labID string, clock time.Time) error {
	for _, sql := range []string{
		`DELETE FROM password_failures WHERE lab_id = $1 AND last_at < $2`,
		`DELETE FROM provider_tokens WHERE lab_id = $1 AND expires_at < $2`,
		`DELETE FROM sign_ins WHERE lab_id = $1 AND expires_at < $2`,
		`DELETE FROM sign_in_codes WHERE lab_id = $1 AND expires_at < $2`,
		`DELETE FROM invitations WHERE lab_id = $1 AND expires_at < $2`,
	} {
		if _, err := tx.Exec(ctx, sql, labID, clock.Add(-kept)); err != nil {
			return fmt.Errorf("sweep sign-ins: %w", err)
		}
	}
	_, err := tx.Exec(ctx, `DELETE FROM code_requests WHERE lab_id = $1 AND asked_at < $2`, labID, clock.Add(-keptRequests))
	if err != nil {
		return fmt.Errorf("sweep requests for codes: %w", err)
	}
	return nil
}
