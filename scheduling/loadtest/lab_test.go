package loadtest

import (
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"wetside/deploy/load/labs"
)

// opens is when the labs' first session begins, and what requests say it is: in
// a future that no job of the server has come to.
var (
	today = time.Now().UTC().Truncate(24*time.Hour).AddDate(0, 6, 0)
	opens = today.AddDate(0, 0, 20).Add(10 * time.Hour)
)

// newLab sets a lab up, with members who have handed in rolls each.
func newLab(t testing.TB, pool *pgxpool.Pool, sessions, members, rolls int) (l *labs.Lab) {
	t.Helper()
	err := pgx.BeginFunc(t.Context(), pool, func(tx pgx.Tx) (err error) {
		l, err = labs.Found(t.Context(), tx, labs.Wanted{Now: today, Opens: opens, Sessions: sessions, Members: members, Rolls: rolls})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return l
}
