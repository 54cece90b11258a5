package api_test

import (
	"crypto/rand"
	"log/slog"
	"net/http"
	"testing"
	"time"

	"wetside/api"
	"wetside/api/apitest"
	"wetside/lab"
	"wetside/lab/signin"
	"wetside/lab/signin/openid"
	"wetside/lab/signin/openid/openidtest"
)

func TestSigningInThroughTheProvider(t *testing.T) {
	t.Parallel()
	theirs := openidtest.Start(t)
	provider, err := openid.New(t.Context(), openid.Config{Issuer: theirs.Issuer, Audience: "wetside"}, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	s := apitest.Start(t, func(c *api.Config) { c.Provider = provider })
	keeper := s.Found(t, "Sallowmere Film Co-op")
	other := s.Found(t, "Quarrow Film Co-op")
	address := func(name, email string) lab.Member {
		return apitest.As[lab.Member](keeper.Post(keeper.Path("members"), lab.NewMember{Name: name, Roles: []lab.Role{lab.RoleMember}, Email: &email}).Want(http.StatusCreated))
	}
	hana := address("Hana Kovářičková", "hana@example.org")
	token := func(subject string, change map[string]any) string {
		c := theirs.Claims("wetside", subject, time.Now())
		for k, v := range change {
			c[k] = v
		}
		c["jti"] = rand.Text() // no two alike
		return theirs.Sign(t, c)
	}
	in := func(lab *apitest.Client, token string) *apitest.Response {
		return s.Anyone(t).Post(lab.Path("provider-sign-ins"), map[string]string{"id_token": token, "device": "Telephone"})
	}
	first := token("hana", nil)
	got := apitest.As[tokens](in(keeper, first).Want(http.StatusOK))
	if got.Member != hana.ID {
		t.Errorf("signed in as %s", got.Member)
	}
	asking(s, t, got).Get(keeper.Path()).Want(http.StatusOK)
	in(keeper, first).WantProblem(http.StatusUnauthorized, "unauthenticated") // once
	in(other, token("hana", nil)).WantProblem(http.StatusForbidden, "not-a-member")
	in(keeper, token("luka", nil)).WantProblem(http.StatusForbidden, "not-a-member")
	in(keeper, "x").WantProblem(http.StatusUnauthorized, "unauthenticated")
	s.Anyone(t).WithToken(token("hana", nil)).Get(keeper.Path()).WantProblem(http.StatusUnauthorized, "unauthenticated") // theirs is not ours

	// From now on the subject counts, whatever the address says.
	if got := apitest.As[tokens](in(keeper, token("hana", map[string]any{"email": "new@example.org"})).Want(http.StatusOK)); got.Member != hana.ID {
		t.Errorf("signed in as %s", got.Member)
	}
	in(keeper, token("impostor", map[string]any{"email": "hana@example.org"})).WantProblem(http.StatusForbidden, "not-a-member")
	tilda := address("Tilda Averne", "tilda@example.org")
	in(keeper, token("tilda", map[string]any{"email_verified": false})).WantProblem(http.StatusForbidden, "not-a-member")
	if got := apitest.As[tokens](in(keeper, token("tilda", nil)).Want(http.StatusOK)); got.Member != tilda.ID {
		t.Errorf("signed in as %s", got.Member)
	}

	// By invitation, without an address of any kind.
	i := apitest.As[signin.Invitation](keeper.Post(keeper.Path("invitations"), lab.NewMember{Name: "Luka Petrašin", Roles: []lab.Role{lab.RoleMember}}).Want(http.StatusCreated))
	luka := map[string]any{"email_verified": false}
	accept := func(token string) *apitest.Response {
		return s.Anyone(t).Post(keeper.Path("acceptances"), map[string]string{"secret": i.Secret, "id_token": token})
	}
	accept("x").WantProblem(http.StatusUnauthorized, "unauthenticated")
	accept(token("hana", nil)).WantProblem(http.StatusConflict, "member-already")
	joined := apitest.As[tokens](accept(token("luka", luka)).Want(http.StatusCreated))
	if got := apitest.As[tokens](in(keeper, token("luka", luka)).Want(http.StatusOK)); got.Member != joined.Member {
		t.Errorf("signed in as %s, joined as %s", got.Member, joined.Member)
	}

	// Mallory joins under an address that is somebody else's, who must not become Mallory.
	i = apitest.As[signin.Invitation](keeper.Post(keeper.Path("invitations"), lab.NewMember{Name: "Mallory", Roles: []lab.Role{lab.RoleMember}}).Want(http.StatusCreated))
	mallory := apitest.As[tokens](s.Anyone(t).Post(keeper.Path("acceptances"), map[string]string{"secret": i.Secret, "email": "odo@example.org"}).Want(http.StatusCreated))
	in(keeper, token("odo", nil)).WantProblem(http.StatusForbidden, "not-a-member")
	path := keeper.Path("members", mallory.Member) // the steward looks into it, and takes the address away
	keeper.Patch(path, keeper.Get(path).ETag(), map[string]any{"email": nil}).Want(http.StatusOK)
	odo := address("Odo Marlish", "odo@example.org")
	if got := apitest.As[tokens](in(keeper, token("odo", nil)).Want(http.StatusOK)); got.Member != odo.ID {
		t.Errorf("signed in as %s", got.Member)
	}

	theirs.Answer(http.StatusServiceUnavailable) // its keys are known
	in(keeper, token("luka", luka)).Want(http.StatusOK)
	plain := apitest.StartOn(t, s.Pool)
	plain.Anyone(t).Post(keeper.Path("provider-sign-ins"), map[string]string{"id_token": token("luka", luka)}).WantProblem(http.StatusConflict, "no-provider")
}

func TestAProviderThatIsAway(t *testing.T) {
	t.Parallel()
	theirs := openidtest.Start(t)
	theirs.Answer(http.StatusServiceUnavailable)
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	provider, err := openid.New(t.Context(), openid.Config{Issuer: theirs.Issuer, Audience: "wetside", Labs: []string{keeper.LabID}}, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	with := apitest.StartOn(t, s.Pool, func(c *api.Config) { c.Provider = provider })
	in := func(lab *apitest.Client) *apitest.Response {
		return with.Anyone(t).Post(lab.Path("provider-sign-ins"), map[string]string{"id_token": theirs.Sign(t, theirs.Claims("wetside", "hana", time.Now()))})
	}
	in(keeper).WantProblem(http.StatusServiceUnavailable, "provider-away")
	in(s.Found(t, "Quarrow Film Co-op")).WantProblem(http.StatusConflict, "no-provider")
}
