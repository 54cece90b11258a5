package signin

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/jobs"
	"wetside/lab/telling"
)

const kindCode = "mail-sign-in-code"

// mostCodes is how many codes are mailed to a member at most while the first of
// them still works: nobody's mailbox is to be filled by others.
const mostCodes = 3

type codeJob struct {
	Request string `json:"request"`
}

// AskForCode has a code mailed to whoever has an address, if anybody does. The
// job looks; here nothing depends on it.
func AskForCode(ctx context.Context, tx pgx.Tx, labID, email string, clock time.Time) error {
	clean, _ := lab.CleanEmail(email)
	var id string
	err := tx.QueryRow(ctx, `INSERT INTO code_requests (lab_id, id, email, asked_at)
		VALUES ($1, new_id('coderequest', $3), $2, $3) RETURNING id`, labID, clean, clock).Scan(&id)
	if err != nil {
		return fmt.Errorf("ask for code: %w", err)
	}
	return jobs.Soon(ctx, tx, labID, kindCode, codeJob{id})
}

// Works are the jobs of this package. page, unless empty, is where the co-op's
// own pages take a code or an invitation out of the address's fragment, which no
// server on the way sees or logs.
func Works(page string, random io.Reader) []jobs.Work {
	return []jobs.Work{sweepWork(), {Kind: kindCode, Do: func(ctx context.Context, tx pgx.Tx, s lab.Scope, raw json.RawMessage) error {
		var in codeJob
		if err := json.Unmarshal(raw, &in); err != nil {
			return fmt.Errorf("payload: %w", err)
		}
		return mailCode(ctx, tx, s, in.Request, page, random)
	}}}
}

// mailCode mails the code that was asked for, if the address is a member's.
func mailCode(ctx context.Context, tx pgx.Tx, s lab.Scope, request, page string, random io.Reader) error {
	var email string
	err := tx.QueryRow(ctx, `DELETE FROM code_requests WHERE lab_id = $1 AND id = $2 RETURNING email`, s.Lab.ID, request).Scan(&email)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("read request: %w", err)
	}
	m, ok, err := lab.MemberByEmail(ctx, tx, s.Lab.ID, email)
	if err != nil || !ok {
		return err
	}
	// Requests of one member are looked into one after another, or several would
	// count before any of them has mailed.
	if _, err := tx.Exec(ctx, `SELECT FROM members WHERE lab_id = $1 AND id = $2 FOR NO KEY UPDATE`, s.Lab.ID, m.ID); err != nil {
		return fmt.Errorf("lock member: %w", err)
	}
	var sent int
	err = tx.QueryRow(ctx, `SELECT count(*) FROM sign_in_codes
		WHERE lab_id = $1 AND member_id = $2 AND mailed_to IS NOT NULL AND expires_at > $3`, s.Lab.ID, m.ID, s.Now).Scan(&sent)
	if err != nil {
		return fmt.Errorf("count codes: %w", err)
	}
	if sent >= mostCodes {
		return nil
	}
	code, err := lab.NewMailedCode(ctx, tx, s.Lab.ID, m, s.Now, random)
	if err != nil {
		return err
	}
	return telling.Mail(ctx, tx, s.Lab.ID, email, "Your code for "+oneLine(s.Lab.Name), fmt.Sprintf(
		"Somebody, you we hope, asked to sign in at %s.\n\nCode: %s\n%s\nIt works once, until %s. If it was not you, do nothing: without the code nobody gets in.\n",
		oneLine(s.Lab.Name), code.Code, link(page, s.Lab.ID, "code", code.Code), telling.When(s.Lab, code.ExpiresAt)))
}

// MailInvitation mails an invitation to its address.
func MailInvitation(ctx context.Context, tx pgx.Tx, s lab.Scope, i Invitation, page string) error {
	return telling.Mail(ctx, tx, s.Lab.ID, *i.Email, "Your invitation to "+oneLine(s.Lab.Name), fmt.Sprintf(
		"%s invites you to join %s.\n\nInvitation: %s\n%s\nIt can be accepted once, until %s.\n",
		oneLine(s.By.Name), oneLine(s.Lab.Name), i.Secret, link(page, s.Lab.ID, "invitation", i.Secret), telling.When(s.Lab, i.ExpiresAt)))
}

// link is a line with the address of the co-op's own page, or none.
func link(page, labID, name, secret string) string {
	if page == "" {
		return ""
	}
	return "Or open: " + page + "#lab=" + labID + "&" + name + "=" + secret + "\n"
}

// oneLine is a name without what would end a line of a mail.
func oneLine(name string) string { return strings.Join(strings.Fields(name), " ") }
