package lab

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"
)

// Pseudonym has a former member be an id alone, by which the books and the
// film's traces go on. What else is kept of them their packages throw out.
func Pseudonym(ctx context.Context, tx pgx.Tx, s Scope, id string) (Member, error) {
	_, err := tx.Exec(ctx, `DELETE FROM tank_certifications WHERE lab_id = $1 AND member_id = $2`, s.Lab.ID, id)
	if err != nil {
		return Member{}, fmt.Errorf("forget certifications: %w", err)
	}
	return find[Member](ctx, tx, "member", `UPDATE members SET name = 'Former member ' || right(id, 6), email = NULL, roles = '{member}',
			left_at = coalesce(left_at, $3), erased_at = coalesce(erased_at, $3), version = version + 1
		WHERE lab_id = $1 AND id = $2 RETURNING `+memberColumns, s.Lab.ID, id, s.Now)
}
