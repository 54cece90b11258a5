package api_test

import (
	"net/http"
	"testing"

	"wetside/api/apitest"
	"wetside/lab"
)

func TestMembersJoinAndAreListed(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	r := keeper.Post(keeper.Path("members"), lab.NewMember{Name: "Bram Quillon", Roles: []lab.Role{lab.RoleTreasurer}}).Want(http.StatusCreated)
	m := apitest.As[lab.Member](r)
	if len(m.Roles) != 2 || !m.Has(lab.RoleMember) || !m.Has(lab.RoleTreasurer) {
		t.Errorf("roles are %v", m.Roles)
	}
	got := keeper.Get(r.Header("Location")).Want(http.StatusOK)
	if apitest.As[lab.Member](got).Name != "Bram Quillon" || got.ETag() != r.ETag() {
		t.Errorf("member is %s", got.Body)
	}
	list := apitest.As[lab.List[lab.Member]](keeper.Get(keeper.Path("members")).Want(http.StatusOK))
	if len(list.Items) != 2 || list.Items[0].ID != keeper.MemberID || list.Items[1].ID != m.ID {
		t.Errorf("members are %+v", list.Items)
	}
	for _, bad := range []string{`{"name":"A\nB","roles":["member"]}`, `{"name":"\u00a0","roles":["member"]}`} {
		keeper.Do(http.MethodPost, keeper.Path("members"), bad).WantProblem(http.StatusUnprocessableEntity, "invalid")
	}
}

func TestMembersSeeThemselvesAlone(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	member := s.Join(t, keeper, "Bram Quillon")
	treasurer := s.Join(t, keeper, "Tilda Averne", lab.RoleTreasurer)
	member.Get(keeper.Path("members", member.MemberID)).Want(http.StatusOK)
	member.Get(keeper.Path("members", keeper.MemberID)).WantProblem(http.StatusNotFound, "not-found")
	member.Get(keeper.Path("members")).WantProblem(http.StatusForbidden, "forbidden")
	member.Post(keeper.Path("members"), lab.NewMember{Name: "X", Roles: []lab.Role{lab.RoleMember}}).WantProblem(http.StatusForbidden, "forbidden")
	member.Post(keeper.Path("members", member.MemberID, "sign-in-codes"), nil).WantProblem(http.StatusForbidden, "forbidden")
	treasurer.Get(keeper.Path("members", member.MemberID)).Want(http.StatusOK)
	treasurer.Post(keeper.Path("members"), lab.NewMember{Name: "X", Roles: []lab.Role{lab.RoleMember}}).WantProblem(http.StatusForbidden, "forbidden")
}
