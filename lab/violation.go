package lab

import (
	"errors"

	"github.com/jackc/pgx/v5/pgconn"
)

// SQLSTATEs that packages translate into refusals, by constraint name.
const (
	UniqueViolation     = "23505"
	CheckViolation      = "23514"
	ForeignKeyViolation = "23503"
	ExclusionViolation  = "23P01"
)

// Violates says whether err is PostgreSQL's word that a statement broke the
// named constraint in the way that the SQLSTATE says.
func Violates(err error, sqlState, constraint string) bool {
	var pg *pgconn.PgError
	return errors.As(err, &pg) && pg.Code == sqlState && pg.ConstraintName == constraint
}
