package signin

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// Forget throws out all that a member signed in with.
func Forget(ctx context.Context, tx pgx.Tx, s lab.Scope, m lab.Member) error {
	for _, sql := range []string{
		`DELETE FROM passwords WHERE lab_id = $1 AND member_id = $2`,
		`DELETE FROM provider_subjects WHERE lab_id = $1 AND member_id = $2`,
		`DELETE FROM sign_in_codes WHERE lab_id = $1 AND member_id = $2`,
		`DELETE FROM sign_ins WHERE lab_id = $1 AND member_id = $2`,
		`UPDATE invitations SET name = 'Former member', email = NULL WHERE lab_id = $1 AND member_id = $2`,
	} {
		if _, err := tx.Exec(ctx, sql, s.Lab.ID, m.ID); err != nil {
			return fmt.Errorf("forget sign-ins: %w", err)
		}
	}
	_, err := tx.Exec(ctx, `DELETE FROM code_requests WHERE lab_id = $1 AND email = $2`, s.Lab.ID, m.Email)
	if err != nil {
		return fmt.Errorf("forget sign-ins: %w", err)
	}
	return nil
}
