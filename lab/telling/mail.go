package telling

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/mail"
	"strings"
	"time"
	"unicode"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/jobs"
)

const kindMail = "mail"

// mailPauses are how long to wait before sending again: a server that is down
// for a night or that greylists is no loss. RFC 5321 §4.5.4.1 wants the first
// pauses short, later ones longer, and four to five days in all.
var mailPauses = []time.Duration{
	time.Minute, 5 * time.Minute, 30 * time.Minute, time.Hour, 2 * time.Hour, 4 * time.Hour, 8 * time.Hour,
	12 * time.Hour, 24 * time.Hour, 24 * time.Hour, 24 * time.Hour,
}

type mailJob struct {
	Mail string `json:"mail"`
}

// Mail queues a mail for an address, if the transaction commits. Until it is
// sent the text is kept in the lab's rows, not in the job. It refuses with
// Invalid what is no bare address.
func Mail(ctx context.Context, tx pgx.Tx, labID, to, subject, text string) error {
	if err := checkAddress(to); err != nil {
		return err
	}
	if strings.ContainsFunc(subject, unicode.IsControl) {
		return fmt.Errorf("mail: a subject stands on one line")
	}
	var id string
	err := tx.QueryRow(ctx, `INSERT INTO mails (lab_id, id, recipient, subject, text, queued_at)
		VALUES ($1, new_id('mail', now()), $2, $3, $4, now()) RETURNING id`, labID, to, subject, text).Scan(&id)
	if err != nil {
		return fmt.Errorf("queue mail: %w", err)
	}
	return jobs.Send(ctx, tx, labID, kindMail, mailJob{id})
}

// checkAddress refuses what is not one address alone, without a name or comments.
func checkAddress(to string) error {
	a, err := mail.ParseAddress(to)
	if err != nil || a.Address != to || len(to) > 254 || strings.ContainsFunc(to, unicode.IsControl) {
		return lab.Refuse(lab.Invalid, "invalid", "this is no e-mail address").
			With("/email", "email", "want an address such as ana@example.org")
	}
	return nil
}

// A Letter is one mail as it is handed to a mail server.
type Letter struct {
	// ID is the same however often it is sent, so that a receiver can drop a second copy.
	ID, To, Subject, Text string
	At                    time.Time
}

// A Mailer hands letters to a mail server.
type Mailer interface {
	Send(ctx context.Context, l Letter) error
}

// ErrRejected is a letter that the mail server will not take however often it is sent.
var ErrRejected = errors.New("the mail server rejects it")

// mailWork sends mail by m; nil drops it.
func mailWork(m Mailer) jobs.Work {
	return jobs.Work{Kind: kindMail, Pauses: mailPauses, Outside: func(ctx context.Context, j jobs.Job) error {
		var in mailJob
		if err := json.Unmarshal(j.Payload, &in); err != nil {
			return fmt.Errorf("payload: %w", err)
		}
		l := Letter{ID: in.Mail}
		err := j.InTx(ctx, func(tx pgx.Tx) error {
			return tx.QueryRow(ctx, `SELECT recipient, subject, text, queued_at FROM mails WHERE lab_id = $1 AND id = $2`,
				j.LabID, in.Mail).Scan(&l.To, &l.Subject, &l.Text, &l.At)
		})
		if errors.Is(err, pgx.ErrNoRows) {
			return nil // sent before, by a try whose end was not recorded
		}
		if err != nil {
			return err
		}
		if m != nil {
			err = m.Send(ctx, l)
		}
		if err != nil && !errors.Is(err, ErrRejected) && !j.Last {
			return err
		}
		gone := j.InTx(ctx, func(tx pgx.Tx) error {
			_, err := tx.Exec(ctx, `DELETE FROM mails WHERE lab_id = $1 AND id = $2`, j.LabID, in.Mail)
			return err
		})
		if errors.Is(err, ErrRejected) {
			err = lab.Refuse(lab.Conflict, "mail-rejected", "%v", err) // not tried again
		}
		return errors.Join(err, gone)
	}}
}

// Config is what telling takes from the environment.
type Config struct {
	// Mailer sends mail; nil is none: mail is dropped.
	Mailer Mailer
	Hooks  Hooks
}

// Works are the jobs of this package.
func Works(cfg Config) []jobs.Work {
	return []jobs.Work{mailWork(cfg.Mailer), deliveryWork(cfg.Hooks), forgetWork()}
}
