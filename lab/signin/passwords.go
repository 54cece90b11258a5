package signin

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// How wrong passwords in a row slow down the next: a few are free, then the wait
// doubles from a second to a quarter of an hour. SP 800-63B (5.2.2) allows a
// hundred in a row at most; from then on it is one a day, until the password is
// set anew by who came in another way.
const (
	freeTries   = 5
	longestWait = 15 * time.Minute
	mostTries   = 100
	dayWait     = 24 * time.Hour
)

// waitAfter is how long after the last of so many wrong passwords the next is looked at.
func waitAfter(failures int64) time.Duration {
	switch {
	case failures < freeTries:
		return 0
	case failures >= mostTries:
		return dayWait
	case failures-freeTries >= 10:
		return longestWait
	}
	return min(time.Second<<(failures-freeTries), longestWait)
}

// A Try is somebody giving a password: for an address, or as a member who is in
// already and says it again.
type Try struct {
	Member lab.Member // zero where the address is nobody's
	PHC    string     // "" where there is no password
	key    []byte     // what failures are counted by
}

// TryAddress looks up whom a password is for that comes with an address, and how
// long to wait before it is looked at; 0 is at once. What it takes does not
// depend on whether the address is somebody's.
func TryAddress(ctx context.Context, tx pgx.Tx, labID, email string, clock time.Time) (Try, time.Duration, error) {
	clean, _ := lab.CleanEmail(email)
	t := Try{key: failuresAt(clean)}
	m, known, err := lab.MemberByEmail(ctx, tx, labID, clean)
	if err != nil {
		return t, 0, err
	}
	if known {
		t.Member = m
	}
	if t.PHC, err = passwordOf(ctx, tx, labID, m.ID); err != nil {
		return t, 0, err
	}
	wait, err := waitFor(ctx, tx, labID, t.key, clock)
	return t, wait, err
}

// TryMember is TryAddress for a member who is in already.
func TryMember(ctx context.Context, tx pgx.Tx, labID string, m lab.Member, clock time.Time) (Try, time.Duration, error) {
	t := Try{Member: m, key: failuresOf(m)}
	var err error
	if t.PHC, err = passwordOf(ctx, tx, labID, m.ID); err != nil {
		return t, 0, err
	}
	wait, err := waitFor(ctx, tx, labID, t.key, clock)
	return t, wait, err
}

// failuresAt and failuresOf are what wrong passwords are counted by: an address,
// whether anybody's or not, and a member who is in already.
func failuresAt(email string) []byte { return hash("address " + email) }
func failuresOf(m lab.Member) []byte { return hash("member " + m.ID) }

func passwordOf(ctx context.Context, tx pgx.Tx, labID, memberID string) (phc string, err error) {
	err = tx.QueryRow(ctx, `SELECT phc FROM passwords WHERE lab_id = $1 AND member_id = $2`, labID, memberID).Scan(&phc)
	if err != nil && !errors.Is(err, pgx.ErrNoRows) {
		return "", fmt.Errorf("read password: %w", err)
	}
	return phc, nil
}

func waitFor(ctx context.Context, tx pgx.Tx, labID string, key []byte, clock time.Time) (time.Duration, error) {
	var failures int64
	var last time.Time
	err := tx.QueryRow(ctx, `SELECT count, last_at FROM password_failures WHERE lab_id = $1 AND email_sha256 = $2`, labID, key).Scan(&failures, &last)
	if errors.Is(err, pgx.ErrNoRows) {
		return 0, nil
	}
	if err != nil {
		return 0, fmt.Errorf("read failures: %w", err)
	}
	return max(0, last.Add(waitAfter(failures)).Sub(clock)), nil
}

// Failed counts a wrong password; the caller must commit it.
func (t Try) Failed(ctx context.Context, tx pgx.Tx, labID string, clock time.Time) error {
	_, err := tx.Exec(ctx, `INSERT INTO password_failures AS f (lab_id, email_sha256, count, last_at) VALUES ($1, $2, 1, $3)
		ON CONFLICT (lab_id, email_sha256) DO UPDATE SET count = f.count + 1, last_at = greatest(f.last_at, EXCLUDED.last_at)`,
		labID, t.key, clock)
	if err != nil {
		return fmt.Errorf("count failure: %w", err)
	}
	return nil
}

// Right takes note that the password was right, and keeps rehashed in the place
// of its hash, unless that is "". ok is false where it must not count after all:
// the password was changed meanwhile, or so many wrong ones came in that this one
// was out of turn (whoever guesses a hundred at once has not a hundred guesses).
func (t Try) Right(ctx context.Context, tx pgx.Tx, labID, rehashed string, clock time.Time) (ok bool, err error) {
	wait, err := waitFor(ctx, tx, labID, t.key, clock)
	if err != nil || wait > 0 {
		return false, err
	}
	if rehashed == "" {
		rehashed = t.PHC
	}
	tag, err := tx.Exec(ctx, `UPDATE passwords SET phc = $4 WHERE lab_id = $1 AND member_id = $2 AND phc = $3`,
		labID, t.Member.ID, t.PHC, rehashed)
	if err != nil {
		return false, fmt.Errorf("keep password: %w", err)
	}
	if tag.RowsAffected() == 0 {
		return false, nil
	}
	return true, t.forget(ctx, tx, labID)
}

// forget begins counting failures anew.
func (t Try) forget(ctx context.Context, tx pgx.Tx, labID string) error {
	_, err := tx.Exec(ctx, `DELETE FROM password_failures WHERE lab_id = $1 AND email_sha256 = $2`, labID, t.key)
	if err != nil {
		return fmt.Errorf("forget failures: %w", err)
	}
	return nil
}

// SetPassword keeps a member's password by its hash, and forgets wrong ones.
func SetPassword(ctx context.Context, tx pgx.Tx, labID string, m lab.Member, phc string, clock time.Time) error {
	_, err := tx.Exec(ctx, `INSERT INTO passwords (lab_id, member_id, phc, changed_at) VALUES ($1, $2, $3, $4)
		ON CONFLICT (lab_id, member_id) DO UPDATE SET phc = EXCLUDED.phc, changed_at = EXCLUDED.changed_at`,
		labID, m.ID, phc, clock)
	if err != nil {
		return fmt.Errorf("set password: %w", err)
	}
	tries := []Try{{key: failuresOf(m)}}
	if m.Email != nil {
		tries = append(tries, Try{key: hash("address " + *m.Email)})
	}
	for _, t := range tries {
		if err := t.forget(ctx, tx, labID); err != nil {
			return err
		}
	}
	return nil
}

// freshFor is how long after signing in by something else than a password
// somebody may set a new one without the old: time for who forgot it.
const freshFor = 15 * time.Minute

// Fresh says whether a sign-in is so new, and not by a password, that it stands
// in for the old password.
func Fresh(ctx context.Context, tx pgx.Tx, labID, signIn string, clock time.Time) (fresh bool, err error) {
	err = tx.QueryRow(ctx, `SELECT method <> 'password' AND begun_at > $3 FROM sign_ins WHERE lab_id = $1 AND id = $2`,
		labID, signIn, clock.Add(-freshFor)).Scan(&fresh)
	if err != nil {
		return false, fmt.Errorf("read sign-in: %w", err)
	}
	return fresh, nil
}
