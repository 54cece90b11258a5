package api_test

import (
	"net/http"
	"strings"
	"testing"

	"wetside/api"
	"wetside/api/apitest"
	"wetside/lab"
)

// A member reads all about themselves; once they have left, with no money and no
// film open, they can be erased, and no table nor the log has their name.
func TestErasureLeavesAPseudonym(t *testing.T) {
	t.Parallel()
	var log apitest.Log
	s := apitest.Start(t, func(c *api.Config) { log.Into(c) })
	keeper := s.Found(t, "Sallowmere Film Co-op")
	ann := s.Join(t, keeper, "Ann Quillmark", lab.RoleMember)
	bea := s.Join(t, keeper, "Bea Stroud")
	who := keeper.Path("members", ann.MemberID)
	keeper.Patch(who, keeper.Get(who).ETag(), `{"email":"ann.quillmark@example.org"}`).Want(http.StatusOK)
	keeper.Post(keeper.Path("reel-kinds"), `{"code":"spiral-35","name":"Spiral","count":4,"height_mm":44,"solution_ml":290}`).Want(http.StatusCreated)
	keeper.Post(keeper.Path("tanks"), `{"name":"Tank","height_mm":250,"volume_ml":2000,"heater_w":600,"reel_kinds":["spiral-35"]}`).Want(http.StatusCreated)
	keeper.Post(keeper.Path("cabinets"), cabinet).Want(http.StatusCreated)
	roll := ann.Post(ann.Path("rolls"), `{"format":"135-36","process":"c-41","note":"Quillmark, Tuesday"}`).Want(http.StatusCreated)
	film := roll.Header("Location")

	data := apitest.As[lab.PersonalData](ann.Get(who + "/personal-data").Want(http.StatusOK))
	if data.Member.Name != "Ann Quillmark" || len(data.Records["rolls"]) != 1 || len(data.Records["sign_ins"]) != 1 || !strings.Contains(string(data.Records["rolls"][0]), "Tuesday") {
		t.Errorf("the export has %+v", data)
	}
	if strings.Contains(string(keeper.Get(who+"/personal-data").Want(http.StatusOK).Body), "sha256") {
		t.Error("the export has hashes of secrets")
	}
	bea.Get(who+"/personal-data").WantProblem(http.StatusNotFound, "not-found")

	keeper.Post(who+"/erasure", nil).WantProblem(http.StatusConflict, "member-not-left")
	bea.Post(who+"/erasure", nil).WantProblem(http.StatusForbidden, "forbidden")
	keeper.Post(who+"/departure", nil).Want(http.StatusOK)
	keeper.Post(who+"/erasure", nil).WantProblem(http.StatusConflict, "member-has-film")
	keeper.Delete(film, keeper.Get(film).ETag()).Want(http.StatusNoContent)
	erased := apitest.As[lab.Member](keeper.Post(who+"/erasure", nil).Want(http.StatusOK))
	if !strings.HasPrefix(erased.Name, "Former member ") || erased.Email != nil {
		t.Errorf("what stays is %+v", erased)
	}
	ann.Get(ann.Path()).WantProblem(http.StatusUnauthorized, "unauthenticated")

	for _, table := range tableNames(t, s) {
		var found bool
		err := s.Pool.QueryRow(t.Context(), `SELECT EXISTS (SELECT FROM `+table+` t WHERE t::text ~* 'quillmark')`).Scan(&found)
		if err != nil || found {
			t.Errorf("%s has the name still, or: %v", table, err)
		}
	}
	if text := log.String(); strings.Contains(strings.ToLower(text), "quillmark") || strings.Contains(text, ann.Token()) || strings.Contains(text, "Tarrow") || !strings.Contains(text, "/erasure") {
		t.Error("the log has names or tokens, or nothing")
	}
}

func tableNames(t *testing.T, s *apitest.Server) (names []string) {
	t.Helper()
	err := s.Pool.QueryRow(t.Context(), `SELECT array_agg(relname::text) FROM pg_class WHERE relnamespace = 'public'::regnamespace AND relkind IN ('r', 'p')`).Scan(&names)
	if err != nil || len(names) < 30 {
		t.Fatal(len(names), err)
	}
	return names
}
