package api

import (
	"context"
	"net/http"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

func (a *API) memberOperations() []operation {
	const all, one = "/v1/labs/:lab/members", "/v1/labs/:lab/members/:member"
	hosts := holders(lab.RoleKeeper, lab.RoleSteward)
	return []operation{
		{ID: "addMember", Method: http.MethodPost, Path: all, Who: hosts, Handle: body(addMember)},
		{ID: "listMembers", Method: http.MethodGet, Path: all, Who: holders(lab.RoleSteward, lab.RoleTreasurer, lab.RoleKeeper).orSetup(), Handle: listMembers},
		{ID: "getMember", Method: http.MethodGet, Path: one, Who: members, Handle: getMember},
		{ID: "updateMember", Method: http.MethodPatch, Path: one, Who: hosts, IfMatch: getMember, Handle: body(updateMember)},
		{ID: "createSignInCode", Method: http.MethodPost, Path: one + "/sign-in-codes", Who: hosts.orSetup(), Secret: true, Handle: a.createSignInCode},
	}
}

func addMember(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request, in lab.NewMember) (Answer, error) {
	m, err := lab.AddMember(ctx, tx, s, in)
	if err != nil {
		return Answer{}, err
	}
	return Created("/v1/labs/"+s.Lab.ID+"/members/"+m.ID, m), nil
}

func listMembers(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return listed(lab.Members(ctx, tx, s.Lab.ID, r.Page()))
}

// getMember reads a member: everybody themselves, others by their roles. To
// those who may not, nobody else is there.
func getMember(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	id := r.Path("member")
	if id != s.By.ID && !s.By.Has(lab.RoleSteward, lab.RoleTreasurer, lab.RoleKeeper) {
		return Answer{}, lab.Refuse(lab.NotFound, "not-found", "there is no such member")
	}
	return reply(lab.FindMember(ctx, tx, s.Lab.ID, id))
}

func updateMember(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in lab.MemberChange) (Answer, error) {
	return reply(lab.ChangeMember(ctx, tx, s, r.Path("member"), r.Version(), in))
}

func (a *API) createSignInCode(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	by := &s.By
	if r.Setup {
		by = nil
	}
	code, err := lab.NewSignInCode(ctx, tx, s.Lab.ID, r.Path("member"), by, r.Clock, a.random)
	if err != nil {
		return Answer{}, err
	}
	return Answer{Status: http.StatusCreated, Body: code}, nil
}
