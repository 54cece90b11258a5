package api

import (
	"context"
	"errors"
	"net/http"
	"strings"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

func auditOperations() []operation {
	return []operation{
		{ID: "listAuditLog", Method: http.MethodGet, Path: "/v1/labs/:lab/audit-log", Who: holders(lab.RoleKeeper), Handle: listAuditLog},
		{ID: "listMemberAuditLog", Method: http.MethodGet, Path: "/v1/labs/:lab/members/:member/audit-log", Who: members, Handle: listMemberAuditLog},
	}
}

func listAuditLog(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return listed(lab.Acts(ctx, tx, s.Lab.ID, "", r.Page()))
}

// listMemberAuditLog lists what was done by a member and about them: to
// themselves and to keepers.
func listMemberAuditLog(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	if err := selfOr(ctx, tx, s, r, lab.RoleKeeper); err != nil {
		return Answer{}, err
	}
	return listed(lab.Acts(ctx, tx, s.Lab.ID, r.Path("member"), r.Page()))
}

// selfOr refuses with NotFound unless the path's member is the one who asks, or
// that one holds a role and the member is there: to others nobody else is.
func selfOr(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, roles ...lab.Role) error {
	id := r.Path("member")
	if id == s.By.ID {
		return nil
	}
	if !s.By.Has(roles...) {
		return lab.Refuse(lab.NotFound, "not-found", "there is no such member")
	}
	_, err := lab.FindMember(ctx, tx, s.Lab.ID, id)
	return err
}

// record adds what was just done to the audit log, in its own transaction: also
// of a refusal whose effect stays.
func (c *call) record(ctx context.Context, tx pgx.Tx, s lab.Scope, answer Answer, err error) error {
	var no *stays
	if !c.op.writes() || tx == nil || err != nil && !errors.As(err, &no) {
		return nil
	}
	below := "/v1/labs/" + c.labID()
	act := lab.Act{At: c.clock, Operation: c.op.ID, Object: strings.TrimPrefix(c.http.URL.Path, below), Request: identityOf(ctx).own}
	if act.Object == "" {
		act.Object = "/"
	}
	if made, ok := strings.CutPrefix(answer.Location, below); ok {
		act.Made = &made
	}
	if s.By.ID != "" {
		act.By = &s.By.ID
	}
	if t, ok := answer.Body.(token); ok && t.Member != "" { // who signs in is known by now
		made := "/members/" + t.Member + "/sign-ins/" + t.SignIn
		act.By, act.Made = &t.Member, &made
	}
	if about := c.req.path["member"]; about != "" {
		act.About = &about
	} else if act.Made != nil {
		if id, ok := strings.CutPrefix(*act.Made, "/members/"); ok {
			id, _, _ = strings.Cut(id, "/")
			act.About = &id
		}
	}
	return lab.Record(ctx, tx, act)
}
