package signin

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// Forget throws out all that a member signed in with, and so ends it: no token,
// code or invitation of theirs works any more. Of invitations that they made or
// accepted an id stays, of wrong passwords nothing.
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
	keys := [][]byte{failuresOf(m)}
	if m.Email != nil {
		keys = append(keys, failuresAt(*m.Email))
	}
	_, err := tx.Exec(ctx, `DELETE FROM password_failures WHERE lab_id = $1 AND email_sha256 = ANY ($2)`, s.Lab.ID, keys)
	if err != nil {
		return fmt.Errorf("forget wrong passwords: %w", err)
	}
	for _, table := range []string{"code_requests", "invitations"} {
		if _, err := tx.Exec(ctx, `DELETE FROM `+table+` WHERE lab_id = $1 AND email = $2`, s.Lab.ID, m.Email); err != nil {
			return fmt.Errorf("forget %s at an address: %w", table, err)
		}
	}
	return nil
}
