package api_test

import (
	"net/http"
	"strings"
	"testing"

	"wetside/api/apitest"
	"wetside/lab"
)

// Echo's group middleware would turn a wrong method into 404 without Allow.
func TestWrongMethodNamesTheRightOnes(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	for path, want := range map[string][]string{
		keeper.Path("tanks"): {"GET", "POST"},
		keeper.Path():        {"GET", "PATCH"},
		"/v1/tokens":         {"POST"},
	} {
		r := keeper.Do(http.MethodPut, path, "{}")
		r.WantProblem(http.StatusMethodNotAllowed, "method-not-allowed")
		for _, method := range want {
			if !strings.Contains(r.Header("Allow"), method) {
				t.Errorf("%s: Allow is %q, without %s", path, r.Header("Allow"), method)
			}
		}
	}
}

// The router lets slashes into the last parameter of a path.
func TestWhatCannotBeAnIdIsNotThere(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	me := keeper.Path("members", keeper.MemberID)
	keeper.Get(me).Want(http.StatusOK)
	for _, path := range []string{
		me + "/", me + "/x", me + "%2Fx", me + "%00", keeper.Path("members", "member_1"),
		keeper.Path("members", strings.ToUpper(keeper.MemberID)),
		keeper.Path("tanks", keeper.MemberID), "/v1/labs/", "/v1/labs/" + keeper.LabID + "/", "/v2", "/v1",
	} {
		keeper.Get(path).WantProblem(http.StatusNotFound, "not-found")
	}
}

func TestHeadAnswersLikeGet(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	head := keeper.Do(http.MethodHead, keeper.Path(), nil).Want(http.StatusOK)
	if len(head.Body) != 0 || head.ETag() != keeper.Get(keeper.Path()).ETag() {
		t.Errorf("HEAD: ETag %q, body %q", head.ETag(), head.Body)
	}
}

// Echo's binder lets a field of the body override a parameter of the path.
func TestBodyDoesNotOverrideThePath(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	other := s.Found(t, "Quarrow Film Co-op")
	r := keeper.Patch(keeper.Path(), keeper.Get(keeper.Path()).ETag(), map[string]any{"name": "Renamed", "lab": other.LabID, "id": other.LabID})
	p := r.WantProblem(http.StatusBadRequest, "malformed")
	if len(p.Errors) != 2 {
		t.Errorf("faults are %+v", p.Errors)
	}
	keeper.Do(http.MethodPost, keeper.Path("members"), `{"name":"Bram Quillon","roles":["member"]}`).Want(http.StatusCreated)
	if l := apitest.As[lab.Lab](other.Get(other.Path())); l.Name != "Quarrow Film Co-op" {
		t.Errorf("the other lab is %+v", l)
	}
}
