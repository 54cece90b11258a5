package lab

import (
	"context"
	"errors"
	"fmt"
	"net/mail"
	"strings"

	"github.com/jackc/pgx/v5"
)

// maxEmail is how long an address may be (RFC 5321, 4.5.3.1.3, less the brackets).
const maxEmail = 254

// CleanEmail is an address as it is kept: in lower case. ok is false for what
// is none, and for one outside ASCII: a domain of other letters is written as
// xn--… there.
func CleanEmail(text string) (clean string, ok bool) {
	clean = strings.ToLower(text)
	a, err := mail.ParseAddress(clean)
	at := strings.LastIndexByte(clean, '@')
	plain := !strings.ContainsFunc(clean, func(r rune) bool { return r <= ' ' || r > '~' || strings.ContainsRune(`"(),:;<>[\]`, r) })
	if err != nil || a.Address != clean || !plain || len(clean) > maxEmail || at < 1 || at > 64 {
		return "", false
	}
	return clean, true
}

// checkEmail cleans an address that may be missing, and notes a fault if it is none.
func checkEmail(r *Refusal, pointer string, text *string) *string {
	if text == nil {
		return nil
	}
	clean, ok := CleanEmail(*text)
	if !ok {
		r.With(pointer, "not-an-address", "want one e-mail address, such as somebody@example.org")
		return nil
	}
	return &clean
}

func errEmailTaken() error {
	return Refuse(Conflict, "email-taken", "another member of this lab has this address").
		With("/email", "taken", "another member of this lab has this address")
}

// MemberByEmail finds who has an address, unless they have left. ok is false
// where nobody does; text need not be an address.
func MemberByEmail(ctx context.Context, tx pgx.Tx, labID, text string) (m Member, ok bool, err error) {
	clean, _ := CleanEmail(text)
	m, err = one[Member](ctx, tx, `SELECT `+memberColumns+` FROM members
		WHERE lab_id = $1 AND email = $2 AND left_at IS NULL`, labID, clean)
	if errors.Is(err, pgx.ErrNoRows) {
		return Member{}, false, nil
	}
	if err != nil {
		return Member{}, false, fmt.Errorf("find member by address: %w", err)
	}
	return m, true, nil
}
