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
)

// signInLife is how long a sign-in code may be used: long enough to be passed
// on at the lab's door, short enough not to lie about.
const signInLife = 24 * time.Hour

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
	return newSignInCode(ctx, tx, labID, memberID, clock, random)
}

func newSignInCode(ctx context.Context, tx pgx.Tx, labID, memberID string, clock time.Time, random io.Reader) (SignInCode, error) {
	var secret [16]byte
	if _, err := io.ReadFull(random, secret[:]); err != nil {
		return SignInCode{}, fmt.Errorf("sign-in code: %w", err)
	}
	plain := codeText.EncodeToString(secret[:])
	expires := clock.Add(signInLife)
	_, err := tx.Exec(ctx, `INSERT INTO sign_in_codes (code_sha256, lab_id, member_id, created_at, expires_at)
		VALUES ($1, $2, $3, $4, $5)`, hashCode(plain), labID, memberID, clock, expires)
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

// Redeem uses a code up and says whose it is. ok is false for a code that is
// unknown, used or expired at the real instant clock, and for a member who has left.
func Redeem(ctx context.Context, tx pgx.Tx, code string, clock time.Time) (l Lab, m Member, ok bool, err error) {
	var labID, memberID string
	err = tx.QueryRow(ctx, `UPDATE sign_in_codes SET used_at = $2
		WHERE code_sha256 = $1 AND used_at IS NULL AND expires_at > $2
		RETURNING lab_id, member_id`, hashCode(code), clock).Scan(&labID, &memberID)
	if errors.Is(err, pgx.ErrNoRows) {
		return Lab{}, Member{}, false, nil
	}
	if err != nil {
		return Lab{}, Member{}, false, fmt.Errorf("redeem sign-in code: %w", err)
	}
	if m, err = FindMember(ctx, tx, labID, memberID); err != nil {
		return Lab{}, Member{}, false, err
	}
	if l, err = Find(ctx, tx, labID); err != nil {
		return Lab{}, Member{}, false, err
	}
	return l, m, m.LeftAt == nil, nil
}
