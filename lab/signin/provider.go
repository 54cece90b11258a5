package signin

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// A Person is who an OpenID provider says somebody is.
type Person struct {
	Issuer, Subject string
	// Email is "" unless the provider has verified it.
	Email     string
	ExpiresAt time.Time // the ID token's
}

// TakeToken takes an ID token once. ok is false if it came before.
func TakeToken(ctx context.Context, tx pgx.Tx, labID, token string, p Person) (ok bool, err error) {
	tag, err := tx.Exec(ctx, `INSERT INTO provider_tokens (lab_id, token_sha256, expires_at) VALUES ($1, $2, $3)
		ON CONFLICT DO NOTHING`, labID, hash(token), p.ExpiresAt)
	if err != nil {
		return false, fmt.Errorf("take ID token: %w", err)
	}
	return tag.RowsAffected() == 1, nil
}

// MemberOf finds the member that a person is, and binds them to the one who has
// their verified address where they come for the first time. ok is false where
// they are nobody here, or the one with the address is bound to somebody else or
// gave it without showing that it is theirs.
func MemberOf(ctx context.Context, tx pgx.Tx, labID string, p Person, clock time.Time) (m lab.Member, ok bool, err error) {
	var memberID string
	err = tx.QueryRow(ctx, `SELECT member_id FROM provider_subjects WHERE lab_id = $1 AND issuer = $2 AND subject = $3`,
		labID, p.Issuer, p.Subject).Scan(&memberID)
	if err == nil {
		m, err = lab.FindMember(ctx, tx, labID, memberID)
		return m, err == nil && m.LeftAt == nil, err
	}
	if !errors.Is(err, pgx.ErrNoRows) {
		return lab.Member{}, false, fmt.Errorf("find person: %w", err)
	}
	if p.Email == "" {
		return lab.Member{}, false, nil
	}
	m, ok, err = lab.MemberByEmail(ctx, tx, labID, p.Email)
	if err != nil || !ok {
		return lab.Member{}, false, err
	}
	var claimed bool
	err = tx.QueryRow(ctx, `SELECT email_claimed FROM members WHERE lab_id = $1 AND id = $2`, labID, m.ID).Scan(&claimed)
	if err != nil {
		return lab.Member{}, false, fmt.Errorf("find person: %w", err)
	}
	if claimed { // by somebody who may have had this person in mind
		return lab.Member{}, false, nil
	}
	ok, err = Bind(ctx, tx, labID, m.ID, p, clock)
	return m, ok, err
}

// Bind says that a person is a member from now on. ok is false where the member
// is another person of that provider, or the person another member.
func Bind(ctx context.Context, tx pgx.Tx, labID, memberID string, p Person, clock time.Time) (ok bool, err error) {
	tag, err := tx.Exec(ctx, `INSERT INTO provider_subjects (lab_id, issuer, subject, member_id, bound_at)
		VALUES ($1, $2, $3, $4, $5) ON CONFLICT DO NOTHING`, labID, p.Issuer, p.Subject, memberID, clock)
	if err != nil {
		return false, fmt.Errorf("bind person: %w", err)
	}
	return tag.RowsAffected() == 1, nil
}
