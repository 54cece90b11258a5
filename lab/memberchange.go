package lab

import (
	"context"
	"fmt"
	"slices"

	"github.com/jackc/pgx/v5"

	"wetside/lab/units"
)

// A MemberChange is what may change of a member; what is not given stays. An
// address of null takes it away.
type MemberChange struct {
	Name  *string                `json:"name"`
	Roles *[]Role                `json:"roles"`
	Email units.Optional[string] `json:"email"`
}

// ChangeMember changes a member, of whom the caller has seen the given version.
// By whoever can set an address, codes are received: it takes all roles of the
// member, before and after, or a keeper. A new address voids what was mailed to
// the old one. It refuses with Invalid, Forbidden, NotFound, Stale, and Conflict
// ("member-left", "guest", "email-taken", "last-keeper").
func ChangeMember(ctx context.Context, tx pgx.Tx, s Scope, id string, version int64, in MemberChange) (Member, error) {
	if _, err := Lock(ctx, tx, s.Lab.ID); err != nil { // two keepers must not both be the last to go
		return Member{}, err
	}
	m, err := FindMember(ctx, tx, s.Lab.ID, id)
	switch {
	case err != nil:
		return Member{}, err
	case m.Version != version:
		return Member{}, errStale("member")
	case m.LeftAt != nil:
		return Member{}, Refuse(Conflict, "member-left", "this member has left the lab")
	case m.GuestOf != nil:
		return Member{}, Refuse(Conflict, "guest", "guests do not sign in; their host answers for them")
	case !mayAct(s.By, m.Roles):
		return Member{}, Refuse(Forbidden, "forbidden", "this member holds roles that you do not; ask a keeper")
	}
	r := Refuse(Invalid, "invalid", "the member cannot be like this")
	n := NewMember{Name: or(in.Name, m.Name), Roles: cleanRoles(or(in.Roles, m.Roles)), Email: m.Email}
	checkName(r, "/name", n.Name)
	if in.Email.Given {
		n.Email = checkEmail(r, "/email", in.Email.To)
	}
	if err := r.OrNil(); err != nil {
		return Member{}, err
	}
	if !mayAct(s.By, n.Roles) {
		return Member{}, errRolesBeyond()
	}
	if m.Has(RoleKeeper) && !slices.Contains(n.Roles, RoleKeeper) {
		if err := anotherKeeper(ctx, tx, s.Lab.ID, id); err != nil {
			return Member{}, err
		}
	}
	changed, err := one[Member](ctx, tx, `UPDATE members SET name = $4, roles = $5, email = $6,
			email_claimed = email_claimed AND email IS NOT DISTINCT FROM $6, version = version + 1
		WHERE lab_id = $1 AND id = $2 AND version = $3
		RETURNING `+memberColumns, s.Lab.ID, id, version, n.Name, n.Roles, n.Email)
	if Violates(err, UniqueViolation, "members_email") {
		return Member{}, errEmailTaken()
	}
	if err != nil {
		return Member{}, fmt.Errorf("change member: %w", err)
	}
	return changed, nil
}

// anotherKeeper refuses with "last-keeper" unless somebody else keeps the lab.
func anotherKeeper(ctx context.Context, tx pgx.Tx, labID, than string) error {
	var keeper bool
	err := tx.QueryRow(ctx, `SELECT EXISTS (SELECT FROM members
		WHERE lab_id = $1 AND id <> $2 AND left_at IS NULL AND 'keeper' = ANY (roles))`, labID, than).Scan(&keeper)
	if err != nil {
		return fmt.Errorf("look for keepers: %w", err)
	}
	if !keeper {
		return Refuse(Conflict, "last-keeper", "a lab cannot be without a keeper")
	}
	return nil
}
