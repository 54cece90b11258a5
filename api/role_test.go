package api_test

import (
	"context"
	"crypto/rand"
	"net/http"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"wetside/api"
	"wetside/api/apitest"
	"wetside/deploy/testdb"
	"wetside/lab"
)

// Requests work as a role that owns nothing: whatever a handler tries, the
// books stay as they are.
func TestRequestsCannotChangeTheBooks(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	var role string
	var wrong error
	s.API.AddForTest(api.TestOperation{Method: http.MethodPost, Path: "/rewrite", Handle: func(
		ctx context.Context, tx pgx.Tx, _ lab.Scope, _ api.Request,
	) (api.Answer, error) {
		if err := tx.QueryRow(ctx, `SELECT current_user`).Scan(&role); err != nil {
			return api.Answer{}, err
		}
		_, wrong = tx.Exec(ctx, `DELETE FROM postings`)
		return api.NoContent(), wrong
	}})
	keeper.Post("/rewrite", nil).Want(500)
	if role != "wetside_app" || !lab.Violates(wrong, "42501", "") {
		t.Errorf("as %q: %v", role, wrong)
	}
}

// The server may log in as a role that was granted wetside_app and owns
// nothing: then it could not change the books even if it forgot its manners.
func TestServerOfARoleThatOwnsNothing(t *testing.T) {
	t.Parallel()
	owner := testdb.New(t)
	clerk := "wetside_clerk_" + strings.ToLower(rand.Text()[:12])
	for _, sql := range []string{
		`CREATE ROLE ` + clerk + ` LOGIN PASSWORD 'clerk'`,
		`GRANT wetside_app TO ` + clerk,
	} {
		if _, err := owner.Exec(t.Context(), sql); err != nil {
			t.Fatal(err)
		}
	}
	t.Cleanup(func() {
		if _, err := owner.Exec(context.Background(), `DROP ROLE `+clerk); err != nil {
			t.Error(err)
		}
	})
	config := owner.Config()
	config.ConnConfig.User, config.ConnConfig.Password = clerk, "clerk"
	pool, err := pgxpool.NewWithConfig(t.Context(), config)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(pool.Close)
	s := apitest.StartOn(t, pool)
	s.Found(t, "Sallowmere Film Co-op")
	for _, sql := range []string{`DELETE FROM postings`, `UPDATE entries SET text = ''`, `ALTER TABLE entries DISABLE TRIGGER ALL`, `SET ROLE postgres`} {
		if _, err := pool.Exec(t.Context(), sql); !lab.Violates(err, "42501", "") && !strings.HasPrefix(sql, "SET ROLE") {
			t.Errorf("%s: %v, want no privilege", sql, err)
		} else if err == nil {
			t.Errorf("%s was done", sql)
		}
	}
}
