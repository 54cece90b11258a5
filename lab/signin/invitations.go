package signin

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// invitationLife is how long an invitation may be accepted.
const invitationLife = 7 * 24 * time.Hour

// An Invitation is how somebody becomes a member by their own hand.
type Invitation struct {
	ID          string     `json:"id"`
	Name        string     `json:"name"`
	Email       *string    `json:"email,omitempty"`
	Roles       []lab.Role `json:"roles"`
	InvitedBy   string     `json:"invited_by"`
	CreatedAt   time.Time  `json:"created_at"`
	ExpiresAt   time.Time  `json:"expires_at"`
	AcceptedAt  *time.Time `json:"accepted_at,omitempty"`
	Member      *string    `json:"member,omitempty"` // who came of it
	WithdrawnAt *time.Time `json:"withdrawn_at,omitempty"`
	// Secret accepts the invitation, once. It is told where the invitation is made
	// and never again.
	Secret string `json:"secret,omitempty"`
}

const invitationColumns = `id, name, email, roles, invited_by, created_at, expires_at, accepted_at, member_id, withdrawn_at, ''`

// Invite makes an invitation that is good for a week from clock. It refuses as
// lab.NewMember.Check does, and with Conflict ("email-taken").
func Invite(ctx context.Context, tx pgx.Tx, s lab.Scope, in lab.NewMember, clock time.Time, random io.Reader) (Invitation, error) {
	clean, err := in.Check(s.By)
	if err != nil {
		return Invitation{}, err
	}
	if clean.Email != nil {
		_, taken, err := lab.MemberByEmail(ctx, tx, s.Lab.ID, *clean.Email)
		if err != nil {
			return Invitation{}, err
		}
		if taken {
			return Invitation{}, lab.Refuse(lab.Conflict, "email-taken", "a member of this lab has this address already")
		}
	}
	secret, err := newSecret("wetside-invitation-", random)
	if err != nil {
		return Invitation{}, err
	}
	rows, err := tx.Query(ctx, `INSERT INTO invitations
			(lab_id, id, secret_sha256, name, email, roles, invited_by, created_at, expires_at)
		VALUES ($1, new_id('invitation', $7), $2, $3, $4, $5, $6, $7, $8)
		RETURNING `+invitationColumns, s.Lab.ID, hash(secret), clean.Name, clean.Email, clean.Roles, s.By.ID, clock, clock.Add(invitationLife))
	if err != nil {
		return Invitation{}, fmt.Errorf("invite: %w", err)
	}
	made, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[Invitation])
	if err != nil {
		return Invitation{}, fmt.Errorf("invite: %w", err)
	}
	made.Secret = secret
	return made, nil
}

// Invitations lists a lab's invitations in the order they were made.
func Invitations(ctx context.Context, tx pgx.Tx, labID string, p lab.Page) (lab.List[Invitation], error) {
	rows, err := tx.Query(ctx, `SELECT `+invitationColumns+` FROM invitations
		WHERE lab_id = $1 AND id > $2 ORDER BY id LIMIT $3`, labID, p.After, p.Limit+1)
	if err != nil {
		return lab.List[Invitation]{}, fmt.Errorf("list invitations: %w", err)
	}
	items, err := pgx.CollectRows(rows, pgx.RowToStructByPos[Invitation])
	if err != nil {
		return lab.List[Invitation]{}, fmt.Errorf("list invitations: %w", err)
	}
	return lab.Cut(items, p, func(i Invitation) string { return i.ID }), nil
}

// Withdraw takes an invitation back. It refuses with NotFound, and with Conflict
// ("invitation-over") where it was accepted or withdrawn.
func Withdraw(ctx context.Context, tx pgx.Tx, labID, id string, clock time.Time) error {
	var over bool
	err := tx.QueryRow(ctx, `SELECT accepted_at IS NOT NULL OR withdrawn_at IS NOT NULL FROM invitations
		WHERE lab_id = $1 AND id = $2 FOR UPDATE`, labID, id).Scan(&over)
	switch {
	case errors.Is(err, pgx.ErrNoRows):
		return lab.Refuse(lab.NotFound, "not-found", "there is no such invitation")
	case err != nil:
		return fmt.Errorf("withdraw invitation: %w", err)
	case over:
		return lab.Refuse(lab.Conflict, "invitation-over", "the invitation was accepted or withdrawn already")
	}
	_, err = tx.Exec(ctx, `UPDATE invitations SET withdrawn_at = $3 WHERE lab_id = $1 AND id = $2`, labID, id, clock)
	if err != nil {
		return fmt.Errorf("withdraw invitation: %w", err)
	}
	return nil
}

// FindInvitation finds the invitation of a secret, while it can be accepted.
func FindInvitation(ctx context.Context, tx pgx.Tx, labID, secret string, clock time.Time) (i Invitation, ok bool, err error) {
	return openInvitation(ctx, tx, labID, secret, clock, "")
}

func openInvitation(ctx context.Context, tx pgx.Tx, labID, secret string, clock time.Time, lock string) (i Invitation, ok bool, err error) {
	rows, err := tx.Query(ctx, `SELECT `+invitationColumns+` FROM invitations
		WHERE lab_id = $1 AND secret_sha256 = $2 AND expires_at > $3 AND accepted_at IS NULL AND withdrawn_at IS NULL `+lock,
		labID, hash(secret), clock)
	if err == nil {
		i, err = pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[Invitation])
	}
	if errors.Is(err, pgx.ErrNoRows) {
		return Invitation{}, false, nil
	}
	if err != nil {
		return Invitation{}, false, fmt.Errorf("find invitation: %w", err)
	}
	return i, true, nil
}

// Accept has the bearer of a secret join at now, under the address given, which
// is no more than claimed then, or the invitation's where that is nil. ok is false where the invitation cannot be
// accepted any more at clock. It refuses with Conflict ("email-taken").
func Accept(ctx context.Context, tx pgx.Tx, labID, secret string, email *string, now, clock time.Time) (m lab.Member, ok bool, err error) {
	i, ok, err := openInvitation(ctx, tx, labID, secret, clock, "FOR UPDATE")
	if err != nil || !ok {
		return lab.Member{}, false, err
	}
	claimed := email != nil && (i.Email == nil || *i.Email != *email)
	if !claimed {
		email = i.Email
	}
	m, err = lab.Admit(ctx, tx, labID, lab.NewMember{Name: i.Name, Roles: i.Roles, Email: email}, now)
	if err != nil {
		return lab.Member{}, false, err
	}
	if claimed {
		if _, err := tx.Exec(ctx, `UPDATE members SET email_claimed = true WHERE lab_id = $1 AND id = $2`, labID, m.ID); err != nil {
			return lab.Member{}, false, fmt.Errorf("claim address: %w", err)
		}
	}
	_, err = tx.Exec(ctx, `UPDATE invitations SET accepted_at = $3, member_id = $4
		WHERE lab_id = $1 AND id = $2`, labID, i.ID, clock, m.ID)
	if err != nil {
		return lab.Member{}, false, fmt.Errorf("accept invitation: %w", err)
	}
	return m, true, nil
}
