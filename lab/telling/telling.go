// Package telling tells members what concerns them: by a message that waits in
// the program and by mail; and others' programs, by signed web hooks. What is told belongs to the transaction in which it
// happened: if that is rolled back nobody hears of it, and if it commits
// everybody does, at least once, whatever crashes meanwhile.
//
//	err := telling.Tell(ctx, tx, s, telling.Notice{
//		Kind: telling.PlaceOffered, To: []string{entry.Member}, About: offer.ID,
//		Words: map[string]string{"session": telling.Span(s.Lab, e.From, e.Until), "until": telling.When(s.Lab, offer.Until)},
//	})
package telling

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/jobs"
)

// A Notice is something to be told to members of the lab.
type Notice struct {
	Kind Kind
	// To are members; a guest's notices go to their host. Those who have left
	// are told nothing.
	To []string
	// Role, unless empty, adds everybody who holds it.
	Role lab.Role
	// About is the id of what it is about; "" if there is none.
	About string
	// Words are what the kind's wording asks for.
	Words map[string]string
}

// Tell tells a notice, if the transaction commits. It fails if the kind's
// wording asks for words that are not given.
func Tell(ctx context.Context, tx pgx.Tx, s lab.Scope, n Notice) error {
	as, err := wordingOf(n.Kind)
	if err != nil {
		return fmt.Errorf("tell: %w", err)
	}
	text, err := fill(as.text, n.Words)
	if err != nil {
		return fmt.Errorf("tell %s: %w", n.Kind, err)
	}
	rows, err := tx.Query(ctx, tellQuery, s.Lab.ID, s.Now, n.To, n.Role, n.Kind, n.About, as.title, text,
		as.mail, subject(s.Lab, as), text+"\n"+signature)
	if err != nil {
		return fmt.Errorf("tell %s: %w", n.Kind, err)
	}
	var mail, hook, event *string
	var mails, deliveries []any
	_, err = pgx.ForEachRow(rows, []any{&mail, &hook, &event}, func() error {
		if mail != nil {
			mails = append(mails, mailJob{*mail})
		} else {
			deliveries = append(deliveries, deliveryJob{*hook, *event})
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("tell %s: %w", n.Kind, err)
	}
	return errors.Join(
		jobs.Send(ctx, tx, s.Lab.ID, kindMail, mails...),
		jobs.Send(ctx, tx, s.Lab.ID, kindDelivery, deliveries...))
}

// signature ends the mail of a notice.
const signature = `
-- 
You are told this as a member of the lab. What comes by mail is yours to choose
(notice wishes).
`

func subject(l lab.Lab, as told) string {
	if l.Name == "" {
		return as.title
	}
	return as.title + " – " + l.Name
}

// tellQuery is one statement, since every booking waits for it. It gives the
// mails to be sent, and the hooks that are to hear of it with the event.
const tellQuery = `
	WITH told AS (
		SELECT r.member_id, coalesce(w.message, true) AS message, coalesce(w.mail, $9) AS mail
		FROM (SELECT DISTINCT coalesce(guest_of, id) AS member_id FROM members
			WHERE lab_id = $1 AND left_at IS NULL AND (id = ANY ($3) OR $4 = ANY (roles))) r
		LEFT JOIN notice_wishes w ON w.lab_id = $1 AND w.member_id = r.member_id AND w.kind = $5),
	message AS (
		INSERT INTO messages (lab_id, id, member_id, kind, about, title, text, sent_at)
		SELECT $1, new_id('message', $2), member_id, $5, nullif($6, ''), $7, $8, $2 FROM told WHERE message),
	mail AS (
		INSERT INTO mails (lab_id, id, recipient, subject, text, queued_at)
		SELECT $1, new_id('mail', now()), m.email, $10, $11, now()
		FROM told JOIN members m ON m.lab_id = $1 AND m.id = told.member_id
		WHERE told.mail AND m.email IS NOT NULL
		RETURNING id),
	hook AS (
		SELECT id FROM hooks
		WHERE lab_id = $1 AND disabled_at IS NULL AND (kinds = '{}' OR $5 = ANY (kinds))),
	event AS (
		INSERT INTO hook_events (lab_id, id, kind, about, at)
		SELECT $1, new_id('event', $2), $5, nullif($6, ''), $2 WHERE EXISTS (SELECT FROM hook)
		RETURNING id),
	delivery AS (
		INSERT INTO hook_deliveries (lab_id, hook_id, event_id)
		SELECT $1, hook.id, event.id FROM hook, event
		RETURNING hook_id, event_id)
	SELECT id, NULL, NULL FROM mail UNION ALL SELECT NULL, hook_id, event_id FROM delivery`

// When words an instant in the lab's time.
func When(l lab.Lab, t time.Time) string { return t.In(l.Location()).Format("Monday 2 January, 15:04") }

// Span words the time of a session in the lab's time.
func Span(l lab.Lab, from, until time.Time) string {
	return When(l, from) + "–" + until.In(l.Location()).Format("15:04")
}
