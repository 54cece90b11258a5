package api_test

import (
	"bytes"
	"crypto/ed25519"
	"encoding/base64"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/api"
	"wetside/api/apitest"
	"wetside/lab/database"
	"wetside/lab/signin"
)

// Servers that start at once on an empty database agree on one key, and each
// takes what the others sign.
func TestServersAgreeOnKeys(t *testing.T) {
	t.Parallel()
	first := apitest.Start(t)
	servers := []*apitest.Server{first}
	for range 5 {
		servers = append(servers, apitest.StartOn(t, first.Pool))
	}
	ids := make([]string, len(servers))
	var all sync.WaitGroup
	for i, s := range servers {
		all.Go(func() {
			var err error
			if ids[i], _, err = s.API.SigningKey(t.Context()); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	for _, id := range ids {
		if id != ids[0] {
			t.Errorf("keys are %v", ids)
		}
	}
	keeper := first.Found(t, "Sallowmere Film Co-op")
	for _, s := range servers {
		s.Anyone(t).WithToken(keeper.Token()).Get(keeper.Path()).Want(http.StatusOK)
	}
	set := apitest.As[signin.KeySet](first.Anyone(t).Get("/.well-known/jwks.json").Want(http.StatusOK))
	if len(set.Keys) != 1 || set.Keys[0].ID != ids[0] {
		t.Errorf("published are %+v", set)
	}
}

// rotor is a lab whose keys are rotated by hand, at instants that the test sets.
type rotor struct {
	*apitest.Server
	vault *signin.Vault
	start time.Time
}

func newRotor(t *testing.T) rotor {
	t.Helper()
	vault, err := api.Vault(apitest.Config().Secret, 15*time.Minute)
	if err != nil {
		t.Fatal(err)
	}
	start := time.Now().UTC().Truncate(time.Second)
	s := apitest.Start(t, func(c *api.Config) { c.Clock = func() time.Time { return start } })
	return rotor{s, vault, start}
}

func (r rotor) at(t *testing.T, after time.Duration) *apitest.Server {
	t.Helper()
	return still(t, r.Server, r.start.Add(after))
}

// do changes keys as a server or the keeper of the installation does.
func (r rotor) do(t *testing.T, after time.Duration, f func(tx pgx.Tx, clock time.Time) error) {
	t.Helper()
	err := database.NewStore(r.Pool, nil).InTx(t.Context(), database.Writing, "", func(tx pgx.Tx) error { return f(tx, r.start.Add(after)) })
	if err != nil {
		t.Fatal(err)
	}
}

func (r rotor) tend(t *testing.T, after time.Duration) (made bool) {
	t.Helper()
	r.do(t, after, func(tx pgx.Tx, clock time.Time) (err error) {
		made, err = r.vault.Tend(t.Context(), tx, clock)
		return err
	})
	return made
}

func published(t *testing.T, s *apitest.Server) (ids []string) {
	t.Helper()
	for _, k := range apitest.As[signin.KeySet](s.Anyone(t).Get("/.well-known/jwks.json").Want(http.StatusOK)).Keys {
		ids = append(ids, k.ID)
	}
	return ids
}

func kidOf(t *testing.T, s *apitest.Server) string {
	t.Helper()
	id, _, err := s.API.SigningKey(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return id
}

const day = 24 * time.Hour

// A key is published an hour before it signs, signs for thirty days, is honoured
// until its last token has expired, and is gone after that.
func TestKeysAreRotatedByTime(t *testing.T) {
	t.Parallel()
	r := newRotor(t)
	keeper := r.Found(t, "Sallowmere Film Co-op")
	old := kidOf(t, r.Server)
	const end = 30*day - time.Minute // the first key signs from a minute ago
	for _, after := range []time.Duration{0, day, end - time.Hour - time.Second} {
		if r.tend(t, after) {
			t.Errorf("a key is made after %v", after)
		}
	}
	if !r.tend(t, end-time.Hour) || r.tend(t, end-time.Hour) {
		t.Error("want one key made an hour before the old one ends")
	}
	before := r.at(t, end-time.Second)
	if ids := published(t, before); len(ids) != 2 || kidOf(t, before) != old {
		t.Errorf("before: published %v, signs %s", ids, kidOf(t, before))
	}
	last := signedInAt(t, before, keeper)
	after := r.at(t, end+time.Second)
	if next := kidOf(t, after); next == old || len(published(t, after)) != 2 {
		t.Errorf("after: signs %s, published %v", next, published(t, after))
	}
	after.Anyone(t).WithToken(last).Get(keeper.Path()).Want(http.StatusOK)
	r.tend(t, end+10*time.Minute)
	r.at(t, end+14*time.Minute).Anyone(t).WithToken(last).Get(keeper.Path()).Want(http.StatusOK)
	r.tend(t, end+time.Hour)
	if ids := published(t, r.at(t, end+time.Hour)); len(ids) != 1 || ids[0] == old {
		t.Errorf("in the end published are %v", ids)
	}
	// A server that slept through it all makes a key that signs at once.
	if !r.tend(t, 400*day) {
		r.at(t, 400*day)
	}
	if id := kidOf(t, r.at(t, 400*day)); id == old {
		t.Error("the first key signs after a year")
	}
}

// signedInAt is an access token of the keeper's, made by a server.
func signedInAt(t *testing.T, s *apitest.Server, keeper *apitest.Client) string {
	t.Helper()
	setup := s.Setup(t)
	var code struct{ Code string }
	setup.Post(keeper.Path("members", keeper.MemberID, "sign-in-codes"), nil).Want(http.StatusCreated).Into(&code)
	return s.SignIn(t, code.Code).Token()
}

func TestKeysAreRotatedAndRevokedByHand(t *testing.T) {
	t.Parallel()
	r := newRotor(t)
	keeper := r.Found(t, "Sallowmere Film Co-op")
	old := kidOf(t, r.Server)
	rotate := func(after time.Duration) (made bool) {
		r.do(t, after, func(tx pgx.Tx, clock time.Time) (err error) {
			made, err = r.vault.Rotate(t.Context(), tx, clock)
			return err
		})
		return made
	}
	if !rotate(0) || rotate(time.Minute) {
		t.Error("want one key made: the second time the newest has not begun")
	}
	if got := kidOf(t, r.at(t, time.Minute)); got != old {
		t.Error("the new key signs before every server knows it")
	}
	next := r.at(t, 2*time.Minute)
	if got := kidOf(t, next); got == old {
		t.Error("the old key signs on")
	}
	next.Anyone(t).WithToken(keeper.Token()).Get(keeper.Path()).Want(http.StatusOK)

	fresh := signedInAt(t, next, keeper)
	r.do(t, 3*time.Minute, func(tx pgx.Tx, clock time.Time) error { return r.vault.Revoke(t.Context(), tx, clock) })
	revoked := r.at(t, 3*time.Minute)
	for _, token := range []string{keeper.Token(), fresh} {
		revoked.Anyone(t).WithToken(token).Get(keeper.Path()).WantProblem(http.StatusUnauthorized, "unauthenticated")
	}
	revoked.Anyone(t).WithToken(signedInAt(t, revoked, keeper)).Get(keeper.Path()).Want(http.StatusOK)
	if ids := published(t, revoked); len(ids) != 1 {
		t.Errorf("published are %v", ids)
	}
}

// A server notices within half a minute what another one did to the keys; a key
// id that it does not know it looks up sooner, and not for every request.
func TestAServerNoticesNewKeys(t *testing.T) {
	t.Parallel()
	one := apitest.Start(t)
	keeper := one.Found(t, "Sallowmere Film Co-op")
	keeper.Get(keeper.Path()).Want(http.StatusOK) // the keys are read
	vault, err := api.Vault(apitest.Config().Secret, 15*time.Minute)
	if err != nil {
		t.Fatal(err)
	}
	err = database.NewStore(one.Pool, nil).InTx(t.Context(), database.Writing, "", func(tx pgx.Tx) error {
		return vault.Revoke(t.Context(), tx, time.Now().UTC())
	})
	if err != nil {
		t.Fatal(err)
	}
	two := apitest.StartOn(t, one.Pool)
	token := signedInAt(t, two, keeper)
	within(t, "the first server to take the second's tokens", func() bool {
		return one.Anyone(t).WithToken(token).Get(keeper.Path()).Status == http.StatusOK
	})
	keeper.Get(keeper.Path()).WantProblem(http.StatusUnauthorized, "unauthenticated") // its own old ones no more
}

// What the database keeps of a key is no use without the secret; under another
// secret servers make keys of their own, and whoever is signed in renews.
func TestKeysAreSealed(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	in := signedIn(t, s, keeper, keeper.MemberID)
	_, key, err := s.API.SigningKey(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	var sealed []byte
	if err := s.Pool.QueryRow(t.Context(), `SELECT sealed FROM signing_keys`).Scan(&sealed); err != nil {
		t.Fatal(err)
	}
	if bytes.Contains(sealed, key.Seed()) || len(sealed) != 12+ed25519.SeedSize+16 {
		t.Errorf("the key is kept as %x", sealed)
	}
	var log apitest.Log
	moved := apitest.StartOn(t, s.Pool, func(c *api.Config) {
		c.Secret = bytes.Repeat([]byte{9}, 32)
		log.Into(c)
	})
	moved.Anyone(t).WithToken(in.AccessToken).Get(keeper.Path()).WantProblem(http.StatusUnauthorized, "unauthenticated")
	next := apitest.As[tokens](moved.Anyone(t).Post(keeper.Path("token-renewals"), map[string]string{"refresh_token": in.RefreshToken}).Want(http.StatusOK))
	asking(moved, t, next).Get(keeper.Path()).Want(http.StatusOK)
	if !strings.Contains(log.String(), "sealed under another secret") {
		t.Error("the log does not say why")
	}
	// A key that was put in the place of another does not pass for it.
	if _, err := s.Pool.Exec(t.Context(), `UPDATE signing_keys a SET sealed = b.sealed FROM signing_keys b WHERE a.kid <> b.kid`); err != nil {
		t.Fatal(err)
	}
	fresh := apitest.StartOn(t, s.Pool)
	if ids := published(t, fresh); len(ids) != 0 {
		t.Errorf("published are %v", ids)
	}
}

// The key set verifies the server's own tokens, by code that is not the server's.
func TestTheKeySetVerifiesTokens(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	r := s.Anyone(t).Get("/.well-known/jwks.json").Want(http.StatusOK)
	if got := r.Header("Cache-Control"); got != "public, max-age=300" {
		t.Errorf("Cache-Control is %q", got)
	}
	if bytes.Contains(r.Body, []byte(`"d"`)) {
		t.Error("a private key is published")
	}
	set := apitest.As[signin.KeySet](r)
	part := strings.Split(keeper.Token(), ".")
	x, err := base64.RawURLEncoding.DecodeString(set.Keys[0].X)
	if err != nil {
		t.Fatal(err)
	}
	signature, err := base64.RawURLEncoding.DecodeString(part[2])
	if err != nil || !ed25519.Verify(x, []byte(part[0]+"."+part[1]), signature) {
		t.Errorf("the token does not verify by the published key, %v", err)
	}
	for name, want := range map[string]any{"iss": "https://wetside.test", "client_id": "wetside", "sub": keeper.MemberID, "lab": keeper.LabID} {
		if got := claimOf(keeper.Token(), name); got != want {
			t.Errorf("%s is %v", name, got)
		}
	}
	iat, exp := claimOf(keeper.Token(), "iat").(float64), claimOf(keeper.Token(), "exp").(float64)
	if exp-iat != 900 || claimOf(keeper.Token(), "jti") == nil {
		t.Errorf("lives for %v s", exp-iat)
	}
}
