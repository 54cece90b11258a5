package api_test

import (
	"encoding/json"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"wetside/api"
	"wetside/api/apitest"
	"wetside/lab"
	"wetside/lab/signin"
)

const pass = "seven slow green lamps"

// asking is a client that shows the access token of an answer to signing in.
func asking(s *apitest.Server, t *testing.T, got tokens) *apitest.Client {
	c := s.Anyone(t).WithToken(got.AccessToken)
	c.LabID, c.MemberID = got.Lab, got.Member
	return c
}

// enter accepts an invitation of the keeper's with an address and a password.
func enter(t *testing.T, s *apitest.Server, keeper *apitest.Client, name, email string, roles ...lab.Role) tokens {
	t.Helper()
	if roles == nil {
		roles = []lab.Role{lab.RoleMember}
	}
	i := apitest.As[signin.Invitation](keeper.Post(keeper.Path("invitations"), lab.NewMember{Name: name, Roles: roles, Email: &email}).Want(http.StatusCreated))
	return apitest.As[tokens](s.Anyone(t).Post(keeper.Path("acceptances"), map[string]string{"secret": i.Secret, "password": pass}).Want(http.StatusCreated))
}

// later is the same server with its clock set ahead.
func later(t *testing.T, s *apitest.Server, by time.Duration) *apitest.Server {
	t.Helper()
	return apitest.StartOn(t, s.Pool, func(c *api.Config) { c.Clock = func() time.Time { return time.Now().Add(by) } })
}

// still is the same server with its clock stopped at an instant, for what
// depends on seconds while the machine may be slow.
func still(t *testing.T, s *apitest.Server, at time.Time) *apitest.Server {
	t.Helper()
	return apitest.StartOn(t, s.Pool, func(c *api.Config) { c.Clock = func() time.Time { return at } })
}

func TestAStrangerIsInvitedSignsInAndOut(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	steward := s.Join(t, keeper, "Odo Marlish", lab.RoleSteward)
	email := "Bram.Quillon@Example.org"
	made := apitest.As[signin.Invitation](steward.Post(keeper.Path("invitations"), lab.NewMember{Name: "Bram Quillon", Roles: []lab.Role{lab.RoleMember}, Email: &email}).Want(http.StatusCreated))
	if made.Secret == "" || *made.Email != "bram.quillon@example.org" || made.ExpiresAt.Sub(made.CreatedAt) != 7*24*time.Hour {
		t.Errorf("invited as %+v", made)
	}
	r := s.Anyone(t).Post(keeper.Path("acceptances"), map[string]string{"secret": made.Secret, "password": pass, "device": "Telephone"}).Want(http.StatusCreated)
	got := apitest.As[tokens](r)
	bram := asking(s, t, got)
	m := apitest.As[lab.Member](bram.Get(r.Header("Location")).Want(http.StatusOK))
	if m.Name != "Bram Quillon" || m.Email == nil || *m.Email != "bram.quillon@example.org" || m.Has(lab.RoleSteward) {
		t.Errorf("joined as %+v", m)
	}
	s.Anyone(t).Post(keeper.Path("acceptances"), map[string]string{"secret": made.Secret}).WantProblem(http.StatusUnauthorized, "unauthenticated")

	again := asking(s, t, apitest.As[tokens](s.Anyone(t).Post(keeper.Path("sign-ins"),
		map[string]string{"email": "BRAM.quillon@example.org", "password": pass, "device": "Desk\u0007top"}).Want(http.StatusOK)))
	list := apitest.As[lab.List[signin.SignIn]](again.Get(keeper.Path("members", m.ID, "sign-ins")).Want(http.StatusOK))
	if len(list.Items) != 2 || list.Items[0].Method != signin.ByPassword || !list.Items[0].Current || list.Items[0].Device != "Desktop" ||
		list.Items[1].Method != signin.ByInvitation || list.Items[1].Current || list.Items[1].Device != "Telephone" {
		t.Errorf("signed in as %+v", list.Items)
	}
	again.Do(http.MethodDelete, keeper.Path("sign-in"), nil).Want(http.StatusNoContent)
	again.Get(keeper.Path()).WantProblem(http.StatusUnauthorized, "unauthenticated") // at once
	bram.Get(keeper.Path()).Want(http.StatusOK)

	invitations := apitest.As[lab.List[signin.Invitation]](steward.Get(keeper.Path("invitations")).Want(http.StatusOK))
	if len(invitations.Items) != 1 || invitations.Items[0].Member == nil || *invitations.Items[0].Member != m.ID || invitations.Items[0].Secret != "" {
		t.Errorf("invitations are %+v", invitations.Items)
	}
}

func TestInvitationsThatCannotBeAccepted(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	other := s.Found(t, "Quarrow Film Co-op")
	steward := s.Join(t, keeper, "Odo Marlish", lab.RoleSteward)
	member := s.Join(t, keeper, "Tilda Averne")
	member.Post(keeper.Path("invitations"), lab.NewMember{Name: "X", Roles: []lab.Role{lab.RoleMember}}).WantProblem(http.StatusForbidden, "forbidden")
	for _, role := range []lab.Role{lab.RoleKeeper, lab.RoleTreasurer} {
		steward.Post(keeper.Path("invitations"), lab.NewMember{Name: "X", Roles: []lab.Role{role}}).WantProblem(http.StatusForbidden, "forbidden")
	}
	invite := func() signin.Invitation {
		t.Helper()
		return apitest.As[signin.Invitation](steward.Post(keeper.Path("invitations"), lab.NewMember{Name: "Bram Quillon", Roles: []lab.Role{lab.RoleMember}}).Want(http.StatusCreated))
	}
	accept := func(s *apitest.Server, labPath, secret string) *apitest.Response {
		return s.Anyone(t).Post(labPath, map[string]string{"secret": secret})
	}
	withdrawn := invite()
	steward.Do(http.MethodDelete, keeper.Path("invitations", withdrawn.ID), nil).Want(http.StatusNoContent)
	accept(s, keeper.Path("acceptances"), withdrawn.Secret).WantProblem(http.StatusUnauthorized, "unauthenticated")
	steward.Do(http.MethodDelete, keeper.Path("invitations", withdrawn.ID), nil).WantProblem(http.StatusConflict, "invitation-over")
	expiring := invite()
	accept(later(t, s, 8*24*time.Hour), keeper.Path("acceptances"), expiring.Secret).WantProblem(http.StatusUnauthorized, "unauthenticated")
	accept(s, other.Path("acceptances"), expiring.Secret).WantProblem(http.StatusUnauthorized, "unauthenticated")
	accept(s, keeper.Path("acceptances"), "wetside-invitation-"+strings.Repeat("A", 43)).WantProblem(http.StatusUnauthorized, "unauthenticated")
	other.Do(http.MethodDelete, other.Path("invitations", expiring.ID), nil).WantProblem(http.StatusNotFound, "not-found")

	// Weak passwords, and addresses that are not to be had, leave the invitation as it was.
	for _, row := range []struct {
		body   map[string]string
		status int
		code   string
	}{
		{map[string]string{"password": pass}, 422, "invalid"}, // no address to go with it
		{map[string]string{"password": "password1", "email": "bram@example.org"}, 422, "password-too-weak"},
		{map[string]string{"email": "not an address@"}, 400, "malformed"},
		{map[string]string{"email": "a@@b"}, 422, "invalid"},
	} {
		row.body["secret"] = expiring.Secret
		s.Anyone(t).Post(keeper.Path("acceptances"), row.body).WantProblem(row.status, row.code)
	}
	// Of many who accept at once one joins.
	var joined, refused int
	var mu sync.Mutex
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() {
			r := accept(s, keeper.Path("acceptances"), expiring.Secret)
			mu.Lock()
			defer mu.Unlock()
			switch r.Status {
			case http.StatusCreated:
				joined++
			case http.StatusUnauthorized:
				refused++
			}
		})
	}
	all.Wait()
	if joined != 1 || refused != 7 {
		t.Errorf("%d joined by one invitation, %d were refused", joined, refused)
	}
	taken := "tilda@example.org"
	enter(t, s, keeper, "Tilda the Second", taken)
	steward.Post(keeper.Path("invitations"), lab.NewMember{Name: "X", Roles: []lab.Role{lab.RoleMember}, Email: &taken}).WantProblem(http.StatusConflict, "email-taken")
	i := invite()
	s.Anyone(t).Post(keeper.Path("acceptances"), map[string]string{"secret": i.Secret, "email": taken}).WantProblem(http.StatusConflict, "email-taken")
	accept(s, keeper.Path("acceptances"), i.Secret).Want(http.StatusCreated)
}

// Nothing tells an unknown address from a wrong password: not the answer, not
// its headers, not being slowed down.
func TestWhoIsAMemberIsNotTold(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	enter(t, s, keeper, "Bram Quillon", "bram@example.org")
	plain := "odo@example.org" // a member without a password
	keeper.Post(keeper.Path("members"), lab.NewMember{Name: "Odo Marlish", Roles: []lab.Role{lab.RoleMember}, Email: &plain}).Want(http.StatusCreated)
	now := still(t, s, time.Now())
	try := func(email string) (int, string, string) {
		r := now.Anyone(t).Post(keeper.Path("sign-ins"), map[string]string{"email": email, "password": "wrong but long enough"})
		var p map[string]any
		if err := json.Unmarshal(r.Body, &p); err != nil {
			t.Fatal(err)
		}
		delete(p, "instance")
		text, _ := json.Marshal(p)
		return r.Status, string(text), r.Header("WWW-Authenticate")
	}
	for n := range 6 {
		status, text, header := try("bram@example.org")
		want := http.StatusUnauthorized
		if n == 5 {
			want = http.StatusTooManyRequests
		}
		if status != want {
			t.Errorf("try %d is answered %d, want %d", n+1, status, want)
		}
		for _, email := range []string{"nobody@example.org", plain, "no address"} {
			if st, tx, h := try(email); st != status || tx != text || h != header {
				t.Errorf("try %d: %s is told by %d %s %s, bram by %d %s %s", n+1, email, st, tx, h, status, text, header)
			}
		}
	}
}

func TestWrongPasswordsSlowDownTheNext(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	enter(t, s, keeper, "Bram Quillon", "bram@example.org")
	try := func(s *apitest.Server, password string) *apitest.Response {
		return s.Anyone(t).Post(keeper.Path("sign-ins"), map[string]string{"email": "bram@example.org", "password": password})
	}
	start := time.Now()
	s = still(t, s, start)
	for range 3 {
		try(s, "wrong but long enough").Want(http.StatusUnauthorized)
	}
	try(s, pass).Want(http.StatusOK) // begins counting anew
	for range 5 {
		try(s, "wrong but long enough").Want(http.StatusUnauthorized)
	}
	waits := func(s *apitest.Server, seconds string) {
		t.Helper()
		r := try(s, pass)
		r.WantProblem(http.StatusTooManyRequests, "too-many-attempts")
		if got := r.Header("Retry-After"); got != seconds {
			t.Errorf("Retry-After is %s, want %s", got, seconds)
		}
	}
	waits(s, "1")
	soon := still(t, s, start.Add(time.Second))
	try(soon, "wrong but long enough").Want(http.StatusUnauthorized)
	waits(soon, "2")
	// Whoever guesses many at once is not looked at more often: the right one may
	// be among them, and then it does not count.
	exec := func(sql string) {
		t.Helper()
		if _, err := s.Pool.Exec(t.Context(), sql); err != nil {
			t.Fatal(err)
		}
	}
	exec(`UPDATE password_failures SET count = 4`)
	var all sync.WaitGroup
	for range 12 {
		all.Go(func() { try(soon, "wrong but long enough") })
	}
	all.Wait()
	try(soon, pass).WantProblem(http.StatusTooManyRequests, "too-many-attempts")
	exec(`UPDATE password_failures SET count = 100`) // then it is one a day
	waits(still(t, s, start.Add(time.Hour+time.Second)), "82800")
	try(still(t, s, start.Add(25*time.Hour)), pass).Want(http.StatusOK)
	var kept int
	if err := s.Pool.QueryRow(t.Context(), `SELECT count(*) FROM password_failures`).Scan(&kept); err != nil || kept != 0 {
		t.Errorf("%d counts are kept after the right password, %v", kept, err)
	}
}

func TestRefreshTokensWorkOnce(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	other := s.Found(t, "Quarrow Film Co-op")
	first := signedIn(t, s, keeper, keeper.MemberID)
	renew := func(s *apitest.Server, path, token string) *apitest.Response {
		return s.Anyone(t).Post(path, map[string]string{"refresh_token": token})
	}
	path := keeper.Path("token-renewals")
	second := apitest.As[tokens](renew(s, path, first.RefreshToken).Want(http.StatusOK))
	third := apitest.As[tokens](renew(s, path, second.RefreshToken).Want(http.StatusOK))
	if second.SignIn != first.SignIn || second.RefreshToken == first.RefreshToken || third.Member != keeper.MemberID {
		t.Errorf("renewed %+v to %+v to %+v", first, second, third)
	}
	asking(s, t, third).Get(keeper.Path()).Want(http.StatusOK)
	asking(s, t, first).Get(keeper.Path()).Want(http.StatusOK) // its access token lives on for its minutes
	for _, wrong := range []string{"x", first.AccessToken[:150], "wetside-refresh-" + strings.Repeat("A", 43), third.RefreshToken + "x"} {
		renew(s, path, wrong).WantProblem(http.StatusUnauthorized, "unauthenticated")
	}
	renew(s, other.Path("token-renewals"), third.RefreshToken).WantProblem(http.StatusUnauthorized, "unauthenticated")
	asking(s, t, third).Get(keeper.Path()).Want(http.StatusOK)

	// The first comes again: somebody has copied it. Nobody of the family stays in.
	renew(s, path, first.RefreshToken).WantProblem(http.StatusUnauthorized, "unauthenticated")
	for _, of := range []tokens{first, second, third} {
		renew(s, path, of.RefreshToken).WantProblem(http.StatusUnauthorized, "unauthenticated")
		asking(s, t, of).Get(keeper.Path()).WantProblem(http.StatusUnauthorized, "unauthenticated")
	}
	keeper.Get(keeper.Path()).Want(http.StatusOK) // another sign-in of the same member does
	var why string
	if err := s.Pool.QueryRow(t.Context(), `SELECT ended_by FROM sign_ins WHERE id = $1`, first.SignIn).Scan(&why); err != nil || why != "token-reused" {
		t.Errorf("the sign-in was ended by %q, %v", why, err)
	}

	// A sign-in lasts thirty days, however often it is renewed.
	next := signedIn(t, s, keeper, keeper.MemberID)
	next = apitest.As[tokens](renew(later(t, s, 29*24*time.Hour), path, next.RefreshToken).Want(http.StatusOK))
	renew(later(t, s, 31*24*time.Hour), path, next.RefreshToken).WantProblem(http.StatusUnauthorized, "unauthenticated")
}

// Of many who send one refresh token at once one may have it, or none, and that
// one is the last: two holders cannot both stay in.
func TestARefreshTokenSentByManyAtOnce(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	for range 5 {
		got := signedIn(t, s, keeper, keeper.MemberID)
		var mu sync.Mutex
		var won []tokens
		var all sync.WaitGroup
		for range 8 {
			all.Go(func() {
				r := s.Anyone(t).Post(keeper.Path("token-renewals"), map[string]string{"refresh_token": got.RefreshToken})
				mu.Lock()
				defer mu.Unlock()
				switch r.Status {
				case http.StatusOK:
					won = append(won, apitest.As[tokens](r))
				case http.StatusUnauthorized:
				default:
					t.Errorf("answered %d: %s", r.Status, r.Body)
				}
			})
		}
		all.Wait()
		if len(won) != 1 {
			t.Errorf("%d renewed by one token", len(won))
		}
		for _, w := range won {
			s.Anyone(t).Post(keeper.Path("token-renewals"), map[string]string{"refresh_token": w.RefreshToken}).Want(http.StatusUnauthorized)
			asking(s, t, w).Get(keeper.Path()).Want(http.StatusUnauthorized)
		}
	}
}

func TestSigningOutEverywhere(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	steward := s.Join(t, keeper, "Odo Marlish", lab.RoleSteward)
	bram := s.Join(t, keeper, "Bram Quillon")
	tilda := s.Join(t, keeper, "Tilda Averne")
	own := func(c *apitest.Client) string { return keeper.Path("members", c.MemberID, "sign-ins") }
	one, two := signedIn(t, s, keeper, bram.MemberID), signedIn(t, s, keeper, bram.MemberID)

	// Others' are not there, to the keeper neither.
	for _, c := range []*apitest.Client{tilda, steward, keeper} {
		c.Get(own(bram)).WantProblem(http.StatusNotFound, "not-found")
		c.Do(http.MethodDelete, own(bram)+"/"+one.SignIn, nil).WantProblem(http.StatusNotFound, "not-found")
	}
	bram.Do(http.MethodDelete, own(bram)+"/"+one.SignIn, nil).Want(http.StatusNoContent)
	bram.Do(http.MethodDelete, own(bram)+"/"+one.SignIn, nil).WantProblem(http.StatusNotFound, "not-found")
	asking(s, t, one).Get(keeper.Path()).Want(http.StatusUnauthorized)
	asking(s, t, two).Get(keeper.Path()).Want(http.StatusOK)

	waiting := apitest.As[lab.SignInCode](steward.Post(keeper.Path("members", bram.MemberID, "sign-in-codes"), nil).Want(http.StatusCreated))
	tilda.Do(http.MethodDelete, own(bram), nil).WantProblem(http.StatusNotFound, "not-found")
	steward.Do(http.MethodDelete, own(keeper), nil).WantProblem(http.StatusForbidden, "forbidden")
	steward.Do(http.MethodDelete, own(bram), nil).Want(http.StatusNoContent)
	bram.Get(keeper.Path()).Want(http.StatusUnauthorized)
	asking(s, t, two).Get(keeper.Path()).Want(http.StatusUnauthorized)
	s.Anyone(t).Post(keeper.Path("token-renewals"), map[string]string{"refresh_token": two.RefreshToken}).Want(http.StatusUnauthorized)
	s.Anyone(t).Post("/v1/tokens", map[string]string{"code": waiting.Code}).Want(http.StatusUnauthorized)
	tilda.Get(keeper.Path()).Want(http.StatusOK)
	tilda.Do(http.MethodDelete, own(tilda), nil).Want(http.StatusNoContent)
	tilda.Get(keeper.Path()).Want(http.StatusUnauthorized)
}

func TestSettingAPassword(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	bram := s.Join(t, keeper, "Bram Quillon")
	path := keeper.Path("members", bram.MemberID, "password")
	set := func(c *apitest.Client, body map[string]string) *apitest.Response {
		return c.Do(http.MethodPut, path, body)
	}
	set(bram, map[string]string{"password": pass}).WantProblem(http.StatusConflict, "no-email")
	r := keeper.Get(keeper.Path("members", bram.MemberID))
	keeper.Patch(keeper.Path("members", bram.MemberID), r.ETag(), map[string]string{"email": "bram@example.org"}).Want(http.StatusOK)
	set(keeper, map[string]string{"password": pass}).WantProblem(http.StatusNotFound, "not-found")
	for _, weak := range []string{"short", "password1", "bramquillon", "sallowmere"} {
		set(bram, map[string]string{"password": weak}).WantProblem(http.StatusUnprocessableEntity, "password-too-weak")
	}
	elsewhere := signedIn(t, s, keeper, bram.MemberID)
	set(bram, map[string]string{"password": pass}).Want(http.StatusOK) // there was none
	asking(s, t, elsewhere).Get(keeper.Path()).Want(http.StatusUnauthorized)
	bram.Get(keeper.Path()).Want(http.StatusOK)

	in := func(password string) *apitest.Response {
		return s.Anyone(t).Post(keeper.Path("sign-ins"), map[string]string{"email": "bram@example.org", "password": password})
	}
	byPassword := asking(s, t, apitest.As[tokens](in(pass).Want(http.StatusOK)))
	const better = "eight quick red trams"
	set(byPassword, map[string]string{"password": better}).WantProblem(http.StatusUnprocessableEntity, "current-password-needed")
	set(byPassword, map[string]string{"password": better, "current_password": "wrong"}).WantProblem(http.StatusUnprocessableEntity, "current-password-needed")
	set(byPassword, map[string]string{"password": better, "current_password": pass}).Want(http.StatusOK)
	in(pass).Want(http.StatusUnauthorized)
	in(better).Want(http.StatusOK)
	// Who forgot it signs in by a code, and has a quarter of an hour.
	set(asking(s, t, signedIn(t, s, keeper, bram.MemberID)), map[string]string{"password": pass}).Want(http.StatusOK)
	in(pass).Want(http.StatusOK)
	old := signedIn(t, s, keeper, bram.MemberID)
	if _, err := s.Pool.Exec(t.Context(), `UPDATE sign_ins SET begun_at = begun_at - interval '16 minutes' WHERE id = $1`, old.SignIn); err != nil {
		t.Fatal(err)
	}
	set(asking(s, t, old), map[string]string{"password": better}).WantProblem(http.StatusUnprocessableEntity, "current-password-needed")
	// A thief with the telephone cannot guess on for ever.
	thief := asking(still(t, s, time.Now()), t, old)
	for range 5 {
		set(thief, map[string]string{"password": better, "current_password": "wrong"}).Want(http.StatusUnprocessableEntity)
	}
	set(thief, map[string]string{"password": better, "current_password": pass}).WantProblem(http.StatusTooManyRequests, "too-many-attempts")
	var kept string
	if err := s.Pool.QueryRow(t.Context(), `SELECT string_agg(phc, ' ') FROM passwords`).Scan(&kept); err != nil || !strings.HasPrefix(kept, "$argon2id$v=19$m=19456,t=2,p=1$") || strings.Contains(kept, pass) {
		t.Errorf("kept as %q, %v", kept, err)
	}
}

// A hash of another cost is made anew when its password comes by.
func TestOldHashesAreMadeAnew(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	enter(t, s, keeper, "Bram Quillon", "bram@example.org")
	const old = "$argon2id$v=19$m=256,t=2,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4" // of "password"
	if _, err := s.Pool.Exec(t.Context(), `UPDATE passwords SET phc = $1`, old); err != nil {
		t.Fatal(err)
	}
	in := func(password string) *apitest.Response {
		return s.Anyone(t).Post(keeper.Path("sign-ins"), map[string]string{"email": "bram@example.org", "password": password})
	}
	kept := func() (phc string) {
		if err := s.Pool.QueryRow(t.Context(), `SELECT phc FROM passwords`).Scan(&phc); err != nil {
			t.Fatal(err)
		}
		return phc
	}
	in("passwort").Want(http.StatusUnauthorized)
	if kept() != old {
		t.Error("a wrong password changed the hash")
	}
	in("password").Want(http.StatusOK)
	if got := kept(); !strings.HasPrefix(got, "$argon2id$v=19$m=19456,t=2,p=1$") {
		t.Errorf("kept as %s", got)
	}
	in("password").Want(http.StatusOK)
}

func TestMembersAreChangedByWhoMay(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	steward := s.Join(t, keeper, "Odo Marlish", lab.RoleSteward)
	bram := s.Join(t, keeper, "Bram Quillon")
	change := func(by, whom *apitest.Client, body any) *apitest.Response {
		path := keeper.Path("members", whom.MemberID)
		return by.Patch(path, keeper.Get(path).ETag(), body)
	}
	change(steward, bram, map[string]any{"email": "Bram@example.org"}).Want(http.StatusOK)
	change(bram, bram, map[string]any{"email": "x@example.org"}).WantProblem(http.StatusForbidden, "forbidden")
	// Codes go to the address: a steward must not become keeper by it.
	change(steward, keeper, map[string]any{"email": "odo@example.org"}).WantProblem(http.StatusForbidden, "forbidden")
	change(steward, bram, map[string]any{"roles": []lab.Role{lab.RoleKeeper}}).WantProblem(http.StatusForbidden, "forbidden")
	change(steward, steward, map[string]any{"roles": []lab.Role{lab.RoleSteward, lab.RoleTreasurer}}).WantProblem(http.StatusForbidden, "forbidden")
	change(keeper, keeper, map[string]any{"roles": []lab.Role{lab.RoleMember}}).WantProblem(http.StatusConflict, "last-keeper")
	change(keeper, steward, map[string]any{"email": "bram@EXAMPLE.org"}).WantProblem(http.StatusConflict, "email-taken")
	change(keeper, steward, map[string]any{"email": "two words@example.org"}).WantProblem(http.StatusBadRequest, "malformed")
	change(keeper, steward, map[string]any{"email": "a@b@c"}).WantProblem(http.StatusUnprocessableEntity, "invalid")
	m := apitest.As[lab.Member](change(keeper, bram, map[string]any{"roles": []lab.Role{lab.RoleTreasurer}, "name": "Bram Q.", "email": nil}).Want(http.StatusOK))
	if m.Email != nil || m.Name != "Bram Q." || !m.Has(lab.RoleTreasurer) || !m.Has(lab.RoleMember) {
		t.Errorf("changed to %+v", m)
	}
	keeper.Patch(keeper.Path("members", bram.MemberID), `"v1-000000000000"`, map[string]any{"name": "X"}).WantProblem(http.StatusPreconditionFailed, "stale")
}
