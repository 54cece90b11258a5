package api_test

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"wetside/api"
	"wetside/api/apitest"
	"wetside/lab"
)

func TestOtherLabsAreNotThere(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	one, two := s.Found(t, "Sallowmere Film Co-op"), s.Found(t, "Quarrow Film Co-op")
	one.Get(two.Path()).WantProblem(http.StatusNotFound, "not-found")
	one.Get(two.Path("tanks")).WantProblem(http.StatusNotFound, "not-found")
	one.Do(http.MethodPost, two.Path("cabinets"), `{"bad":1}`).WantProblem(http.StatusNotFound, "not-found")
	if l := apitest.As[lab.List[lab.Lab]](one.Get("/v1/labs")); len(l.Items) != 1 || l.Items[0].ID != one.LabID {
		t.Errorf("a member sees the labs %+v", l.Items)
	}
	if l := apitest.As[lab.List[lab.Lab]](s.Setup(t).Get("/v1/labs")); len(l.Items) != 2 {
		t.Errorf("the setup code sees the labs %+v", l.Items)
	}
}

func TestRolesHoldFromOneRequestToTheNext(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	steward := s.Join(t, keeper, "Odo Marlish", lab.RoleSteward)
	steward.Get(keeper.Path("members")).Want(http.StatusOK)

	exec := func(sql string) {
		t.Helper()
		if _, err := s.Pool.Exec(t.Context(), sql, steward.MemberID); err != nil {
			t.Fatal(err)
		}
	}
	exec(`UPDATE members SET roles = '{member}' WHERE id = $1`)
	steward.Get(keeper.Path("members")).WantProblem(http.StatusForbidden, "forbidden")
	steward.Get(keeper.Path("members", keeper.MemberID)).WantProblem(http.StatusNotFound, "not-found")
	steward.Get(keeper.Path("members", steward.MemberID)).Want(http.StatusOK)
	exec(`UPDATE members SET left_at = now() WHERE id = $1`)
	steward.Get(keeper.Path()).WantProblem(http.StatusUnauthorized, "unauthenticated")
	keeper.Post(keeper.Path("members", steward.MemberID, "sign-in-codes"), nil).WantProblem(http.StatusConflict, "member-left")
}

func TestSetupCodeDoesItsPartAndNoMore(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	setup := s.Setup(t)
	setup.Get(keeper.Path()).WantProblem(http.StatusForbidden, "forbidden")
	setup.Get(keeper.Path("rolls")).WantProblem(http.StatusForbidden, "forbidden")
	setup.Get(keeper.Path("members")).Want(http.StatusOK) // to whom it may issue codes
	keeper.Post("/v1/labs", map[string]any{"name": "X", "time_zone": "Europe/Lisbon", "currency": "EUR", "keeper": "Y"}).
		WantProblem(http.StatusForbidden, "forbidden")
	var code lab.SignInCode
	setup.Post(keeper.Path("members", keeper.MemberID, "sign-in-codes"), nil).Want(http.StatusCreated).Into(&code)
	if again := s.SignIn(t, code.Code); again.MemberID != keeper.MemberID {
		t.Errorf("signed in as %s", again.MemberID)
	}
	without := apitest.StartOn(t, s.Pool, func(c *api.Config) { c.SetupCode = "" })
	for _, guess := range []string{apitest.SetupCode, "--------"} {
		without.Anyone(t).Post("/v1/tokens", map[string]string{"code": guess}).WantProblem(http.StatusUnauthorized, "unauthenticated")
	}
}

func TestSignInCodesWorkOnceAndInTime(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	issue := func() string {
		return apitest.As[lab.SignInCode](keeper.Post(keeper.Path("members", keeper.MemberID, "sign-in-codes"), nil).Want(http.StatusCreated)).Code
	}
	refused := func(s *apitest.Server, code string) {
		t.Helper()
		s.Anyone(t).Post("/v1/tokens", map[string]string{"code": code}).WantProblem(http.StatusUnauthorized, "unauthenticated")
	}
	code := issue()
	s.SignIn(t, strings.ToUpper(strings.ReplaceAll(code, "-", " ")))
	refused(s, code)
	refused(s, strings.Repeat("0", 26))

	late := issue()
	tomorrow := apitest.StartOn(t, s.Pool, func(c *api.Config) {
		c.Clock = func() time.Time { return time.Now().Add(25 * time.Hour) }
	})
	refused(tomorrow, late)
	s.SignIn(t, late)
	var kept int
	if err := s.Pool.QueryRow(t.Context(), `SELECT count(*) FROM sign_in_codes WHERE encode(code_sha256, 'escape') LIKE $1`, "%"+late+"%").Scan(&kept); err != nil || kept != 0 {
		t.Errorf("the code itself is kept (%v)", err)
	}
}

// A steward must not become keeper by making one, or by signing in as one.
func TestRolesCannotBeReachedByADetour(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	steward := s.Join(t, keeper, "Odo Marlish", lab.RoleSteward)
	for _, roles := range [][]lab.Role{{lab.RoleKeeper}, {lab.RoleTreasurer}, {lab.RoleSteward, lab.RoleKeeper}} {
		steward.Post(keeper.Path("members"), lab.NewMember{Name: "X", Roles: roles}).WantProblem(http.StatusForbidden, "forbidden")
	}
	steward.Post(keeper.Path("members", keeper.MemberID, "sign-in-codes"), nil).WantProblem(http.StatusForbidden, "forbidden")
	s.Join(t, steward, "Bram Quillon")
	s.Join(t, steward, "Tilda Averne", lab.RoleSteward)
}

func TestTimeIsTheRequestsInATrialAlone(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	then := time.Date(2026, 12, 1, 18, 0, 0, 123456789, time.FixedZone("", 3600))
	m := apitest.As[lab.Member](keeper.At(then).Post(keeper.Path("members"), lab.NewMember{Name: "Bram Quillon", Roles: []lab.Role{lab.RoleMember}}).Want(http.StatusCreated))
	if want := time.Date(2026, 12, 1, 17, 0, 0, 123456000, time.UTC); m.JoinedAt != want {
		t.Errorf("joined at %v, want %v", m.JoinedAt, want)
	}
	for _, never := range []string{"9999-12-31T23:59:59Z", "0001-01-01T00:00:00Z"} { // ids could not hold it
		keeper.With("Trial-Time", never).Get(keeper.Path()).WantProblem(http.StatusBadRequest, "malformed")
	}
	keeper.With("Trial-Time", "yesterday").Get(keeper.Path()).WantProblem(http.StatusBadRequest, "malformed")
	keeper.At(time.Now().Add(100 * time.Hour)).Get(keeper.Path()).Want(http.StatusOK) // tokens go by the real clock

	real := apitest.StartOn(t, s.Pool, func(c *api.Config) { c.Trial = false })
	real.Anyone(t).WithToken(keeper.Token()).At(then).Get(keeper.Path()).WantProblem(http.StatusBadRequest, "trial-only")
}
