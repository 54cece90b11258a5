package api

import (
	"context"
	"net/http"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

func certificationOperations() []operation {
	const all = "/v1/labs/:lab/members/:member/certifications"
	const one = all + "/:tank"
	return []operation{
		{ID: "listCertifications", Method: http.MethodGet, Path: all, Who: members, Handle: listCertifications},
		{ID: "certifyMember", Method: http.MethodPut, Path: one, Who: holders(lab.RoleSteward), Handle: certifyMember},
		{ID: "decertifyMember", Method: http.MethodDelete, Path: one, Who: holders(lab.RoleSteward), Handle: decertifyMember},
	}
}

func listCertifications(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	if err := selfOr(ctx, tx, s, r, lab.RoleSteward, lab.RoleKeeper); err != nil {
		return Answer{}, err
	}
	return listed(lab.Certifications(ctx, tx, s.Lab.ID, r.Path("member"), r.Page()))
}

func certifyMember(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(lab.Certify(ctx, tx, s, r.Path("member"), r.Path("tank")))
}

func decertifyMember(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	if err := lab.Decertify(ctx, tx, s, r.Path("member"), r.Path("tank")); err != nil {
		return Answer{}, err
	}
	return NoContent(), nil
}
