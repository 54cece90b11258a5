package lab

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
)

const memberColumns = `id, name, roles, joined_at, left_at, guest_of, version`

// Revision counts changes of the member's record.
func (m Member) Revision() int64 { return m.Version }

// A NewMember is somebody who joins.
type NewMember struct {
	Name  string `json:"name"`
	Roles []Role `json:"roles"`
}

// AddMember lets somebody join. It refuses with Invalid, and with Forbidden
// where the member who asks would give away a role that is not theirs to give.
func AddMember(ctx context.Context, tx pgx.Tx, s Scope, in NewMember) (Member, error) {
	r := Refuse(Invalid, "invalid", "nobody can join like this")
	checkName(r, "/name", in.Name)
	if err := r.OrNil(); err != nil {
		return Member{}, err
	}
	roles := cleanRoles(in.Roles)
	if !mayAct(s.By, roles) {
		return Member{}, Refuse(Forbidden, "forbidden", "only a keeper gives out roles beyond their own").
			With("/roles", "forbidden", "you do not hold all of these yourself")
	}
	return insertMember(ctx, tx, s.Lab.ID, in.Name, roles, nil, s.Now)
}

func insertMember(ctx context.Context, tx pgx.Tx, labID, name string, roles []Role, guestOf *string, now time.Time) (Member, error) {
	m, err := one[Member](ctx, tx, `INSERT INTO members (lab_id, id, name, roles, joined_at, guest_of)
		VALUES ($1, new_id('member', $4), $2, $3, $4, $5)
		RETURNING `+memberColumns, labID, name, roles, now, guestOf)
	if err != nil {
		return Member{}, fmt.Errorf("add member: %w", err)
	}
	return m, nil
}

// AddGuest takes a guest of a member in.
func AddGuest(ctx context.Context, tx pgx.Tx, s Scope, name, host string) (Member, error) {
	return insertMember(ctx, tx, s.Lab.ID, name, []Role{RoleMember}, &host, s.Now)
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
	var keeper bool
	err := tx.QueryRow(ctx, `SELECT EXISTS (SELECT FROM members
		WHERE lab_id = $1 AND id <> $2 AND left_at IS NULL AND 'keeper' = ANY (roles))`, s.Lab.ID, id).Scan(&keeper)
	if err != nil {
		return Member{}, fmt.Errorf("look for keepers: %w", err)
	}
	if !keeper {
		return Member{}, Refuse(Conflict, "last-keeper", "a lab cannot be without a keeper")
	}
	return find[Member](ctx, tx, "member", `UPDATE members SET left_at = $3, version = version + 1
		WHERE lab_id = $1 AND id = $2 RETURNING `+memberColumns, s.Lab.ID, id, s.Now)
}
