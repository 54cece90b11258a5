package lab

import (
	"context"
	"crypto/sha256"
	"encoding/base32"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab/database"
)

// signInLife is how long a sign-in code may be used: long enough to be passed
// on at the lab's door, short enough not to lie about.
const signInLife = 24 * time.Hour

// mailedLife is how long a code works that was mailed: who asked for it is waiting for it.
const mailedLife = 15 * time.Minute

// A SignInCode lets one member sign in once. Only its hash is kept.
type SignInCode struct {
	Code      string    `json:"code"`
	ExpiresAt time.Time `json:"expires_at"`
}

// codeText is Crockford's base 32, which has no letters that look alike.
var codeText = base32.NewEncoding("0123456789abcdefghjkmnpqrstvwxyz").WithPadding(base32.NoPadding)

// NewSignInCode makes a code for a member, of 128 bits from random, that runs
// from the real instant clock. by is who asks; nil is the setup code's owner.
// It refuses with NotFound, with Conflict ("member-left", "guest"), and with Forbidden
// where the code would let its maker act in roles that are not theirs.
func NewSignInCode(ctx context.Context, tx pgx.Tx, labID, memberID string, by *Member, clock time.Time, random io.Reader) (SignInCode, error) {
	m, err := FindMember(ctx, tx, labID, memberID)
	if err != nil {
		return SignInCode{}, err
	}
	if by != nil && !mayAct(*by, m.Roles) {
		return SignInCode{}, Refuse(Forbidden, "forbidden", "this member holds roles that you do not; ask a keeper")
	}
	if m.LeftAt != nil {
		return SignInCode{}, Refuse(Conflict, "member-left", "this member has left the lab")
	}
	if m.GuestOf != nil {
		return SignInCode{}, Refuse(Conflict, "guest", "guests do not sign in; their host answers for them")
	}
	return newSignInCode(ctx, tx, labID, memberID, nil, clock, clock.Add(signInLife), random)
}

// NewMailedCode makes a code that is to be mailed to a member with an address,
// and works for a quarter of an hour while the address is theirs.
func NewMailedCode(ctx context.Context, tx pgx.Tx, labID string, m Member, clock time.Time, random io.Reader) (SignInCode, error) {
	return newSignInCode(ctx, tx, labID, m.ID, m.Email, clock, clock.Add(mailedLife), random)
}

func newSignInCode(ctx context.Context, tx pgx.Tx, labID, memberID string, mailedTo *string, clock, expires time.Time, random io.Reader) (SignInCode, error) {
	var secret [16]byte
	if _, err := io.ReadFull(random, secret[:]); err != nil {
		return SignInCode{}, fmt.Errorf("sign-in code: %w", err)
	}
	plain := codeText.EncodeToString(secret[:])
	_, err := tx.Exec(ctx, `INSERT INTO sign_in_codes (code_sha256, lab_id, member_id, created_at, expires_at, mailed_to)
		VALUES ($1, $2, $3, $4, $5, $6)`, hashCode(plain), labID, memberID, clock, expires, mailedTo)
	if err != nil {
		return SignInCode{}, fmt.Errorf("sign-in code: %w", err)
	}
	return SignInCode{Code: plain[:6] + "-" + plain[6:13] + "-" + plain[13:20] + "-" + plain[20:], ExpiresAt: expires}, nil
}

// hashCode is a code's hash. Case, hyphens and blanks do not matter, and what
// looks alike is alike: people copy codes from paper.
func hashCode(code string) []byte {
	plain := strings.NewReplacer("-", "", " ", "", "o", "0", "i", "1", "l", "1").Replace(strings.ToLower(code))
	sum := sha256.Sum256([]byte(plain))
	return sum[:]
}

// A Redeemed code is one that was used just now.
type Redeemed struct {
	Lab    Lab
	Member Member
	Mailed bool // it came by e-mail
}

// Redeem uses a code up and says whose it is. ok is false for a code that is
// unknown, used or expired at the real instant clock, for one that was mailed to
// an address that is not the member's any more, and for a member who has left.
// The transaction is in the code's lab from there on.
func Redeem(ctx context.Context, tx pgx.Tx, code string, clock time.Time) (r Redeemed, ok bool, err error) {
	var labID, memberID string
	var mailedTo *string
	// The code alone says which lab it is of: one of none finds nothing below.
	if err := tx.QueryRow(ctx, `SELECT coalesce(lab_of_sign_in_code($1), '')`, hashCode(code)).Scan(&labID); err != nil {
		return Redeemed{}, false, fmt.Errorf("redeem sign-in code: %w", err)
	}
	if err := database.InLab(ctx, tx, labID); err != nil {
		return Redeemed{}, false, err
	}
	err = tx.QueryRow(ctx, `UPDATE sign_in_codes SET used_at = $2
		WHERE code_sha256 = $1 AND used_at IS NULL AND expires_at > $2
		RETURNING lab_id, member_id, mailed_to`, hashCode(code), clock).Scan(&labID, &memberID, &mailedTo)
	if errors.Is(err, pgx.ErrNoRows) {
		return Redeemed{}, false, nil
	}
	if err != nil {
		return Redeemed{}, false, fmt.Errorf("redeem sign-in code: %w", err)
	}
	r.Mailed = mailedTo != nil
	if r.Member, err = FindMember(ctx, tx, labID, memberID); err != nil {
		return Redeemed{}, false, err
	}
	if r.Lab, err = Find(ctx, tx, labID); err != nil {
		return Redeemed{}, false, err
	}
	moved := r.Mailed && (r.Member.Email == nil || *r.Member.Email != *mailedTo)
	if r.Mailed && !moved {
		_, err = tx.Exec(ctx, `UPDATE members SET email_claimed = false WHERE lab_id = $1 AND id = $2 AND email_claimed`, labID, memberID)
		if err != nil {
			return Redeemed{}, false, fmt.Errorf("prove address: %w", err)
		}
	}
	return r, r.Member.LeftAt == nil && !moved, nil
}

// SignedIn finds the member of a token, and says whether the sign-in that the
// token is of still stands at the real instant clock. It refuses with NotFound.
func SignedIn(ctx context.Context, tx pgx.Tx, labID, memberID, signInID string, clock time.Time) (m Member, stands bool, err error) {
	type row struct {
		Member
		Stands bool
	}
	r, err := find[row](ctx, tx, "member", `SELECT `+memberColumns+`, EXISTS (SELECT FROM sign_ins s
			WHERE s.lab_id = members.lab_id AND s.id = $3 AND s.member_id = members.id
				AND s.ended_at IS NULL AND s.expires_at > $4)
		FROM members WHERE lab_id = $1 AND id = $2`, labID, memberID, signInID, clock)
	return r.Member, r.Stands, err
}

// Over are those of the lab's sign-ins that do not stand at clock: ended, run
// out, not there, or of somebody who has left.
func Over(ctx context.Context, tx pgx.Tx, labID string, signIns []string, clock time.Time) ([]string, error) {
	if len(signIns) == 0 {
		return nil, nil
	}
	rows, err := tx.Query(ctx, `SELECT i FROM unnest($2::text[]) i WHERE NOT EXISTS (
		SELECT FROM sign_ins s JOIN members m ON m.lab_id = s.lab_id AND m.id = s.member_id
		WHERE s.lab_id = $1 AND s.id = i AND s.ended_at IS NULL AND s.expires_at > $3 AND m.left_at IS NULL)`, labID, signIns, clock)
	if err != nil {
		return nil, fmt.Errorf("look for sign-ins: %w", err)
	}
	over, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return nil, fmt.Errorf("look for sign-ins: %w", err)
	}
	return over, nil
}

// MayActFor refuses with NotFound where there is no such member, and with
// Forbidden where the one who asks lacks a role of theirs: neither a code nor an
// end of all sign-ins is theirs to give.
func MayActFor(ctx context.Context, tx pgx.Tx, s Scope, memberID string) error {
	m, err := FindMember(ctx, tx, s.Lab.ID, memberID)
	if err == nil && !mayAct(s.By, m.Roles) {
		err = Refuse(Forbidden, "forbidden", "this member holds roles that you do not; ask a keeper")
	}
	return err
}
