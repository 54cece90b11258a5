// Package apitest starts Wetside's API for tests and calls it as a client
// that holds every request and every answer against the contract.
//
//	s := apitest.Start(t)
//	founding := s.Found(t, "Sallowmere Film Co-op")
//	keeper := s.SignIn(t, founding.SignIn.Code)
//	keeper.Get("/v1/labs/" + founding.Lab.ID).Want(200)
package apitest

import (
	"bytes"
	"io"
	"log/slog"
	"net/http/httptest"
	"testing"

	"github.com/jackc/pgx/v5/pgxpool"

	"wetside/api"
	"wetside/deploy/testdb"
	"wetside/lab"
	"wetside/lab/units"
	"wetside/openapi"
)

// SetupCode is the setup code of servers that Start makes.
const SetupCode = "setup-code-of-the-tests"

// A Server is the API on a database of its own, listening on loopback.
type Server struct {
	URL  string
	API  *api.API
	Pool *pgxpool.Pool
}

// Config is what Start makes servers of, but for the pool: a trial with known secrets.
func Config() api.Config {
	return api.Config{
		Contract:      openapi.Document,
		Reference:     []byte("<!doctype html><title>Wetside</title>"),
		Secret:        bytes.Repeat([]byte{7}, 32),
		Issuer:        "https://wetside.test",
		Audience:      "https://wetside.test/v1",
		TokenLifetime: 15 * units.Minute,
		SetupCode:     SetupCode,
		Trial:         true,
		Log:           slog.New(slog.NewJSONHandler(io.Discard, nil)),
	}
}

// Start starts a server on a fresh, migrated database; change alters its
// configuration first. All is gone when the test ends.
func Start(t testing.TB, change ...func(*api.Config)) *Server {
	t.Helper()
	return StartOn(t, testdb.New(t), change...)
}

// StartOn is Start on a database that is there already.
func StartOn(t testing.TB, pool *pgxpool.Pool, change ...func(*api.Config)) *Server {
	t.Helper()
	cfg := Config()
	cfg.Pool = pool
	for _, f := range change {
		f(&cfg)
	}
	a, err := api.New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	a.Open()
	return Serve(t, a, pool)
}

// Serve listens for an API that the test has made itself.
func Serve(t testing.TB, a *api.API, pool *pgxpool.Pool) *Server {
	t.Helper()
	listening := httptest.NewServer(a)
	t.Cleanup(listening.Close)
	return &Server{URL: listening.URL, API: a, Pool: pool}
}

// Anyone is a client without a token.
func (s *Server) Anyone(t testing.TB) *Client { return &Client{t: t, server: s} }

// SignIn trades a code for a token and is a client that shows it.
func (s *Server) SignIn(t testing.TB, code string) *Client {
	t.Helper()
	var got struct {
		AccessToken string `json:"access_token"`
		Lab, Member string
	}
	s.Anyone(t).Post("/v1/tokens", map[string]string{"code": code}).Want(200).Into(&got)
	return &Client{t: t, server: s, token: got.AccessToken, LabID: got.Lab, MemberID: got.Member}
}

// Setup is a client with the setup code's token.
func (s *Server) Setup(t testing.TB) *Client {
	t.Helper()
	return s.SignIn(t, SetupCode)
}

// Found begins a lab in Lisbon that reckons in euros, and gives its keeper as a client.
func (s *Server) Found(t testing.TB, name string) *Client {
	t.Helper()
	var made lab.Founding
	s.Setup(t).Post("/v1/labs", map[string]any{
		"name": name, "time_zone": "Europe/Lisbon", "currency": "EUR", "keeper": "Ines Tarrow",
	}).Want(201).Into(&made)
	return s.SignIn(t, made.SignIn.Code)
}

// Join adds a member to the keeper's lab and gives them as a client.
func (s *Server) Join(t testing.TB, keeper *Client, name string, roles ...lab.Role) *Client {
	t.Helper()
	var member lab.Member
	if roles == nil {
		roles = []lab.Role{lab.RoleMember}
	}
	keeper.Post(keeper.Path("members"), map[string]any{"name": name, "roles": roles}).Want(201).Into(&member)
	var code lab.SignInCode
	keeper.Post(keeper.Path("members", member.ID, "sign-in-codes"), nil).Want(201).Into(&code)
	return s.SignIn(t, code.Code)
}
