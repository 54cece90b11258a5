package lab

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"
)

// Pseudonym has a former member be an id alone, by which the books and the
// film's traces go on. What else is kept of them their packages throw out. First
// answers to what they asked go too; in those to others they may be named until
// these are forgotten, after two days.
func Pseudonym(ctx context.Context, tx pgx.Tx, s Scope, id string) (Member, error) {
	for _, sql := range []string{
		`DELETE FROM tank_certifications WHERE lab_id = $1 AND member_id = $2`,
		`DELETE FROM idempotency_keys WHERE principal = $1 || '/' || $2`,
	} {
		if _, err := tx.Exec(ctx, sql, s.Lab.ID, id); err != nil {
			return Member{}, fmt.Errorf("forget member: %w", err)
		}
	}
	return find[Member](ctx, tx, "member", `UPDATE members SET name = 'Former member ' || right(id, 6), email = NULL, email_claimed = false, roles = '{member}',
			left_at = coalesce(left_at, $3), erased_at = coalesce(erased_at, $3), version = version + 1
		WHERE lab_id = $1 AND id = $2 RETURNING `+memberColumns, s.Lab.ID, id, s.Now)
}
