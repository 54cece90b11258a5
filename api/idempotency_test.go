package api_test

import (
	"bytes"
	"net/http"
	"sync"
	"testing"
	"time"

	"wetside/api"
	"wetside/api/apitest"
	"wetside/lab"
)

const cabinet = `{"name":"By the window","positions":8,"drop_mm":1700,"drying":"PT4H"}`

func TestTheSameRequestTakesEffectOnce(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op").With("Idempotency-Key", `"one"`)
	path := keeper.Path("cabinets")
	first := keeper.Do(http.MethodPost, path, cabinet).Want(http.StatusCreated)
	if first.Header("Idempotency-Replayed") != "" {
		t.Error("the first answer says it is a replay")
	}
	again := keeper.With("Idempotency-Key", "one").
		Do(http.MethodPost, path, `{ "drying":"PT4H", "positions":8, "drop_mm":1700, "name":"By the window" }`).Want(http.StatusCreated)
	if again.Header("Idempotency-Replayed") != "true" || !bytes.Equal(again.Body, first.Body) ||
		again.ETag() != first.ETag() || again.Header("Location") != first.Header("Location") {
		t.Errorf("replayed: %v %s\nfirst: %s", again.Header("Idempotency-Replayed"), again.Body, first.Body)
	}
	keeper.Do(http.MethodPost, path, `{"name":"Another","positions":8,"drop_mm":1700,"drying":"PT4H"}`).
		WantProblem(http.StatusUnprocessableEntity, "idempotency-key-reused")
	if got := apitest.As[lab.List[lab.Cabinet]](keeper.Get(path)); len(got.Items) != 1 {
		t.Errorf("there are %d cabinets", len(got.Items))
	}
	// Another address and another member have keys of their own.
	keeper.Post(keeper.Path("members"), lab.NewMember{Name: "Bram Quillon", Roles: []lab.Role{lab.RoleMember}}).Want(http.StatusCreated)
	steward := s.Join(t, keeper.With("Idempotency-Key", "two"), "Odo Marlish", lab.RoleSteward)
	steward.With("Idempotency-Key", "one").Do(http.MethodPost, path, cabinet).WantProblem(http.StatusConflict, "name-taken")
	keeper.With("Idempotency-Key", "ü").Do(http.MethodPost, path, cabinet).WantProblem(http.StatusBadRequest, "malformed")
}

func TestARefusalLeavesItsKeyFree(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op").With("Idempotency-Key", "k")
	tank := `{"name":"Long tank","height_mm":250,"volume_ml":2000,"heater_w":600,"reel_kinds":["spiral-35"]}`
	keeper.Do(http.MethodPost, keeper.Path("tanks"), tank).WantProblem(http.StatusUnprocessableEntity, "invalid")
	keeper.With("Idempotency-Key", "r").Do(http.MethodPost, keeper.Path("reel-kinds"),
		`{"code":"spiral-35","name":"Spiral","count":4,"height_mm":40,"solution_ml":300}`).Want(http.StatusCreated)
	keeper.Do(http.MethodPost, keeper.Path("tanks"), tank).Want(http.StatusCreated)
}

// Duplicates that come while the first is under way wait and get its answer.
func TestDuplicatesAtTheSameMoment(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op").With("Idempotency-Key", "k")
	var wg sync.WaitGroup
	answers := make([]*apitest.Response, 12)
	for i := range answers {
		wg.Go(func() { answers[i] = keeper.Do(http.MethodPost, keeper.Path("cabinets"), cabinet) })
	}
	wg.Wait()
	replayed := 0
	for _, r := range answers {
		r.Want(http.StatusCreated)
		if r.Header("Idempotency-Replayed") == "true" {
			replayed++
		}
		if !bytes.Equal(r.Body, answers[0].Body) {
			t.Errorf("answers differ: %s and %s", r.Body, answers[0].Body)
		}
	}
	if replayed != len(answers)-1 {
		t.Errorf("%d of %d are replays", replayed, len(answers))
	}
}

func TestFirstAnswersAreKeptSealedAndNotForEver(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	setup := s.Setup(t).With("Idempotency-Key", "k")
	founding := map[string]any{"name": "Sallowmere Film Co-op", "time_zone": "Europe/Lisbon", "currency": "EUR", "keeper": "Ines Tarrow"}
	first := setup.Post("/v1/labs", founding).Want(http.StatusCreated)
	if again := setup.Post("/v1/labs", founding).Want(http.StatusCreated); !bytes.Equal(first.Body, again.Body) {
		t.Errorf("answers differ: %s and %s", first.Body, again.Body)
	}
	code := apitest.As[lab.Founding](first).SignIn.Code
	var body []byte
	if err := s.Pool.QueryRow(t.Context(), `SELECT body FROM idempotency_keys`).Scan(&body); err != nil {
		t.Fatal(err)
	}
	if bytes.Contains(body, []byte(code)) || bytes.Contains(body, []byte("Tarrow")) {
		t.Error("the answer is kept in the clear")
	}

	later := apitest.StartOn(t, s.Pool, func(c *api.Config) { c.Secret = bytes.Repeat([]byte{9}, 32) })
	later.Setup(t).With("Idempotency-Key", "k").Post("/v1/labs", founding).WantProblem(http.StatusConflict, "idempotency-answer-lost")

	if n, err := s.API.Sweep(t.Context()); n != 0 || err != nil {
		t.Errorf("swept %d: %v", n, err)
	}
	old := apitest.StartOn(t, s.Pool, func(c *api.Config) {
		c.Clock = func() time.Time { return time.Now().Add(49 * time.Hour) }
	})
	if n, err := old.API.Sweep(t.Context()); n != 1 || err != nil {
		t.Errorf("swept %d: %v", n, err)
	}
}

func TestCodesAndTokensAreNotReplayed(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op").With("Idempotency-Key", "k")
	path := keeper.Path("members", keeper.MemberID, "sign-in-codes")
	one := apitest.As[lab.SignInCode](keeper.Post(path, nil).Want(http.StatusCreated))
	two := apitest.As[lab.SignInCode](keeper.Post(path, nil).Want(http.StatusCreated))
	if one.Code == two.Code {
		t.Error("a code is given twice")
	}
	anyone := s.Anyone(t).With("Idempotency-Key", "k")
	anyone.Post("/v1/tokens", map[string]string{"code": one.Code}).Want(http.StatusOK)
	anyone.Post("/v1/tokens", map[string]string{"code": one.Code}).Want(http.StatusUnauthorized)
}
