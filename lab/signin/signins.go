package signin

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"
	"unicode"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/telling"
)

// life is how long a sign-in lasts, however busy the device: NIST SP 800-63B
// (revision 3, 4.1.3) has people sign in anew at least once in 30 days.
const life = 30 * 24 * time.Hour

// maxDevice is how many characters a device's name may have.
const maxDevice = 100

// A Method is how somebody signed in.
type Method string

// The methods.
const (
	ByCode       Method = "code"       // handed over at the lab's door
	ByMail       Method = "mail"       // a code that was mailed
	ByPassword   Method = "password"   //
	ByInvitation Method = "invitation" // the first time
	ByProvider   Method = "provider"   // the co-op's OpenID provider
)

// A SignIn is one device that a member signed in on.
type SignIn struct {
	ID         string    `json:"id"`
	Method     Method    `json:"method"`
	Device     string    `json:"device,omitempty"` // as the client called itself
	BegunAt    time.Time `json:"begun_at"`
	LastUsedAt time.Time `json:"last_used_at"` // when its refresh token was last traded
	ExpiresAt  time.Time `json:"expires_at"`
	// Current says that the request came by it.
	Current bool `json:"current"`
}

const signInColumns = `id, method, device, begun_at, last_used_at, expires_at`

// A Grant is what somebody who signed in gets: the sign-in, whose it is, and the
// refresh token, which is told this once.
type Grant struct {
	SignIn   string
	MemberID string
	Refresh  string
	Until    time.Time
}

// Begin signs a member in on a device.
func Begin(ctx context.Context, tx pgx.Tx, labID, memberID string, how Method, device string, clock time.Time, random io.Reader) (Grant, error) {
	g := Grant{MemberID: memberID, Until: clock.Add(life)}
	err := tx.QueryRow(ctx, `INSERT INTO sign_ins
			(lab_id, id, member_id, method, device, begun_at, last_used_at, expires_at)
		VALUES ($1, new_id('signin', $5), $2, $3, $4, $5, $5, $6) RETURNING id`,
		labID, memberID, how, tidy(device), clock, g.Until).Scan(&g.SignIn)
	if err != nil {
		return Grant{}, fmt.Errorf("sign in: %w", err)
	}
	g.Refresh, err = newRefreshToken(ctx, tx, labID, g.SignIn, clock, random)
	return g, err
}

// tidy cuts a device's name to what can be shown on a line.
func tidy(device string) string {
	var clean []rune
	for _, r := range device {
		if unicode.IsGraphic(r) && len(clean) < maxDevice {
			clean = append(clean, r)
		}
	}
	return string(clean)
}

func newRefreshToken(ctx context.Context, tx pgx.Tx, labID, signIn string, clock time.Time, random io.Reader) (string, error) {
	token, err := newSecret("wetside-refresh-", random)
	if err != nil {
		return "", err
	}
	_, err = tx.Exec(ctx, `INSERT INTO refresh_tokens (lab_id, token_sha256, sign_in_id, made_at)
		VALUES ($1, $2, $3, $4)`, labID, hash(token), signIn, clock)
	if err != nil {
		return "", fmt.Errorf("refresh token: %w", err)
	}
	return token, nil
}

// Renew trades a refresh token for the next of its family. ok is false where it
// is unknown, or its sign-in is over. A token that was traded before has been
// copied, by whoever sends it now or by whoever sent it first: the sign-in ends
// for both, there is no time of grace, and the caller must commit that.
func Renew(ctx context.Context, tx pgx.Tx, labID, refresh string, clock time.Time, random io.Reader) (g Grant, ok bool, err error) {
	// Of two at once the second waits here for the first, and finds it used.
	err = tx.QueryRow(ctx, `UPDATE refresh_tokens SET used_at = $3
		WHERE lab_id = $1 AND token_sha256 = $2 AND used_at IS NULL
		RETURNING sign_in_id`, labID, hash(refresh), clock).Scan(&g.SignIn)
	if errors.Is(err, pgx.ErrNoRows) {
		err = endReused(ctx, tx, labID, refresh, clock)
	} else if err == nil {
		g, ok, err = renew(ctx, tx, labID, g.SignIn, clock, random)
	}
	if err != nil {
		return Grant{}, false, fmt.Errorf("renew: %w", err)
	}
	return g, ok, nil
}

// endReused ends the sign-in of a refresh token that came a second time, and
// tells its member. Of a token that is nobody's it does nothing.
func endReused(ctx context.Context, tx pgx.Tx, labID, refresh string, clock time.Time) error {
	var member string
	err := tx.QueryRow(ctx, `UPDATE sign_ins SET ended_at = $3, ended_by = 'token-reused'
		WHERE lab_id = $1 AND ended_at IS NULL AND id = (SELECT sign_in_id FROM refresh_tokens
			WHERE lab_id = $1 AND token_sha256 = $2)
		RETURNING member_id`, labID, hash(refresh), clock).Scan(&member)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil
	}
	if err != nil {
		return err
	}
	l, err := lab.Find(ctx, tx, labID)
	if err != nil {
		return err
	}
	return telling.Tell(ctx, tx, lab.Scope{Lab: l, Now: clock}, telling.Notice{Kind: telling.SignInChanged, To: []string{member},
		Words: map[string]string{"what": "One of your sign-ins was ended, because its refresh token came a second time: somebody may have copied it"}})
}

func renew(ctx context.Context, tx pgx.Tx, labID, signIn string, clock time.Time, random io.Reader) (Grant, bool, error) {
	g := Grant{SignIn: signIn}
	err := tx.QueryRow(ctx, `UPDATE sign_ins s SET last_used_at = $3
		FROM members m
		WHERE s.lab_id = $1 AND s.id = $2 AND s.ended_at IS NULL AND s.expires_at > $3
			AND m.lab_id = s.lab_id AND m.id = s.member_id AND m.left_at IS NULL
		RETURNING s.member_id, s.expires_at`, labID, signIn, clock).Scan(&g.MemberID, &g.Until)
	if errors.Is(err, pgx.ErrNoRows) {
		return Grant{}, false, nil
	}
	if err != nil {
		return Grant{}, false, err
	}
	g.Refresh, err = newRefreshToken(ctx, tx, labID, signIn, clock, random)
	return g, err == nil, err
}

// List is a member's sign-ins that stand, the newest first; current is the one
// that asks.
func List(ctx context.Context, tx pgx.Tx, labID, memberID, current string, clock time.Time, p lab.Page) (lab.List[SignIn], error) {
	rows, err := tx.Query(ctx, `SELECT `+signInColumns+`, id = $5 FROM sign_ins
		WHERE lab_id = $1 AND member_id = $2 AND ended_at IS NULL AND expires_at > $3
			AND ($6 = '' OR id < $6) ORDER BY id DESC LIMIT $4`, labID, memberID, clock, p.Limit+1, current, p.After)
	if err != nil {
		return lab.List[SignIn]{}, fmt.Errorf("list sign-ins: %w", err)
	}
	items, err := pgx.CollectRows(rows, pgx.RowToStructByPos[SignIn])
	if err != nil {
		return lab.List[SignIn]{}, fmt.Errorf("list sign-ins: %w", err)
	}
	return lab.Cut(items, p, func(s SignIn) string { return s.ID }), nil
}

// End ends one of a member's sign-ins: its refresh token and its access tokens
// work no more. It refuses with NotFound where none stands by this id.
func End(ctx context.Context, tx pgx.Tx, labID, memberID, id string, clock time.Time) error {
	tag, err := tx.Exec(ctx, `UPDATE sign_ins SET ended_at = $4, ended_by = 'sign-out'
		WHERE lab_id = $1 AND member_id = $2 AND id = $3 AND ended_at IS NULL AND expires_at > $4`, labID, memberID, id, clock)
	if err != nil {
		return fmt.Errorf("sign out: %w", err)
	}
	if tag.RowsAffected() == 0 {
		return lab.Refuse(lab.NotFound, "not-found", "there is no such sign-in")
	}
	return nil
}

// EndAll ends all of a member's sign-ins but the one that is spared ("" for
// none), and voids codes that were issued to them; why is "everywhere" or
// "password-changed".
func EndAll(ctx context.Context, tx pgx.Tx, labID, memberID, spared, why string, clock time.Time) error {
	_, err := tx.Exec(ctx, `UPDATE sign_ins SET ended_at = $4, ended_by = $5
		WHERE lab_id = $1 AND member_id = $2 AND id <> $3 AND ended_at IS NULL`, labID, memberID, spared, clock, why)
	if err != nil {
		return fmt.Errorf("sign out everywhere: %w", err)
	}
	_, err = tx.Exec(ctx, `UPDATE sign_in_codes SET used_at = $3
		WHERE lab_id = $1 AND member_id = $2 AND used_at IS NULL`, labID, memberID, clock)
	if err != nil {
		return fmt.Errorf("void codes: %w", err)
	}
	return nil
}
