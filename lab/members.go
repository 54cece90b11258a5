package lab

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
)

const memberColumns = `id, name, roles, joined_at, left_at, email, guest_of, version`

// Revision counts changes of the member's record.
func (m Member) Revision() int64 { return m.Version }

// A NewMember is somebody who joins.
type NewMember struct {
	Name  string  `json:"name"`
	Roles []Role  `json:"roles"`
	Email *string `json:"email,omitempty"`
}

// Check gives the newcomer as they would be kept: the address in lower case,
// the roles in order. It refuses with Invalid, and with Forbidden where by would
// give away a role that is not theirs to give.
func (in NewMember) Check(by Member) (NewMember, error) {
	r := Refuse(Invalid, "invalid", "nobody can join like this")
	checkName(r, "/name", in.Name)
	clean := NewMember{Name: in.Name, Roles: cleanRoles(in.Roles), Email: checkEmail(r, "/email", in.Email)}
	if err := r.OrNil(); err != nil {
		return NewMember{}, err
	}
	if !mayAct(by, clean.Roles) {
		return NewMember{}, errRolesBeyond()
	}
	return clean, nil
}

func errRolesBeyond() error {
	return Refuse(Forbidden, "forbidden", "only a keeper gives out roles beyond their own").
		With("/roles", "forbidden", "you do not hold all of these yourself")
}

// AddMember lets somebody join. It refuses as Check does, and with Conflict
// ("email-taken").
func AddMember(ctx context.Context, tx pgx.Tx, s Scope, in NewMember) (Member, error) {
	clean, err := in.Check(s.By)
	if err != nil {
		return Member{}, err
	}
	return Admit(ctx, tx, s.Lab.ID, clean, s.Now)
}

// Admit lets somebody join whom Check has seen before. It refuses with Conflict
// ("email-taken").
func Admit(ctx context.Context, tx pgx.Tx, labID string, in NewMember, now time.Time) (Member, error) {
	return insertMember(ctx, tx, labID, in, nil, now)
}

func insertMember(ctx context.Context, tx pgx.Tx, labID string, in NewMember, guestOf *string, now time.Time) (Member, error) {
	m, err := one[Member](ctx, tx, `INSERT INTO members (lab_id, id, name, roles, joined_at, email, guest_of)
		VALUES ($1, new_id('member', $4), $2, $3, $4, $5, $6)
		RETURNING `+memberColumns, labID, in.Name, in.Roles, now, in.Email, guestOf)
	if Violates(err, UniqueViolation, "members_email") {
		return Member{}, errEmailTaken()
	}
	if err != nil {
		return Member{}, fmt.Errorf("add member: %w", err)
	}
	return m, nil
}

// AddGuest takes a guest of a member in.
func AddGuest(ctx context.Context, tx pgx.Tx, s Scope, name, host string) (Member, error) {
	return insertMember(ctx, tx, s.Lab.ID, NewMember{Name: name, Roles: []Role{RoleMember}}, &host, s.Now)
}

// FindMember reads a member, one who has left too, or a guest. It refuses with NotFound.
func FindMember(ctx context.Context, tx pgx.Tx, labID, id string) (Member, error) {
	return find[Member](ctx, tx, "member",
		`SELECT `+memberColumns+` FROM members WHERE lab_id = $1 AND id = $2`, labID, id)
}

// PresentMember reads a member who has not left. It refuses with NotFound.
func PresentMember(ctx context.Context, tx pgx.Tx, labID, id string) (Member, error) {
	m, err := FindMember(ctx, tx, labID, id)
	if err == nil && m.LeftAt != nil {
		err = Refuse(NotFound, "not-found", "there is no such member")
	}
	return m, err
}

// Members lists a lab's members in the order they joined; guests are none.
func Members(ctx context.Context, tx pgx.Tx, labID string, p Page) (List[Member], error) {
	return page(ctx, tx, p, func(m Member) string { return m.ID },
		`SELECT `+memberColumns+` FROM members
		WHERE lab_id = $3 AND id > $1 AND guest_of IS NULL ORDER BY id LIMIT $2`, labID)
}

// Guests lists a lab's guests in the order they were taken in.
func Guests(ctx context.Context, tx pgx.Tx, labID string, p Page) (List[Member], error) {
	return page(ctx, tx, p, func(m Member) string { return m.ID },
		`SELECT `+memberColumns+` FROM members
		WHERE lab_id = $3 AND id > $1 AND guest_of IS NOT NULL ORDER BY id LIMIT $2`, labID)
}

// Leave has a member leave. It refuses with "last-keeper". That their account
// is even is for those who keep the books to see to.
func Leave(ctx context.Context, tx pgx.Tx, s Scope, id string) (Member, error) {
	if err := anotherKeeper(ctx, tx, s.Lab.ID, id); err != nil {
		return Member{}, err
	}
	return find[Member](ctx, tx, "member", `UPDATE members SET left_at = $3, version = version + 1
		WHERE lab_id = $1 AND id = $2 RETURNING `+memberColumns, s.Lab.ID, id, s.Now)
}
