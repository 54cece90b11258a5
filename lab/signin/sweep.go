package signin

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
)

// kept is how long what has expired is kept, so that it can be looked into what
// happened: sign-ins with their refresh tokens, codes, wrong passwords.
const kept = 30 * 24 * time.Hour

// sweep forgets what has expired in a lab for long. It runs whenever somebody
// signs in, which is when such rows come to be.
func sweep(ctx context.Context, tx pgx.Tx, labID string, clock time.Time) error {
	for _, sql := range []string{
		`DELETE FROM password_failures WHERE lab_id = $1 AND last_at < $2`,
		`DELETE FROM provider_tokens WHERE lab_id = $1 AND expires_at < $2`,
		`DELETE FROM sign_ins WHERE lab_id = $1 AND expires_at < $2`,
		`DELETE FROM sign_in_codes WHERE lab_id = $1 AND expires_at < $2`,
	} {
		if _, err := tx.Exec(ctx, sql, labID, clock.Add(-kept)); err != nil {
			return fmt.Errorf("sweep sign-ins: %w", err)
		}
	}
	return nil
}
