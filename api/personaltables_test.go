package api_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/scheduling"
)

// Whoever is tried on every table, and what rows say of them.
const (
	leaver     = "member_leaver"
	leaverMail = "lou.leaver@example.org"
)

// personalColumns are, for every column that refers to a member or holds an
// address of one, what the erasure leaves of it. A table with a new one is
// added here by whoever has thought about it. The export has them all: those of
// "mentioned" by their ids, the others as records.
var personalColumns = map[string]string{
	// Goes.
	"passwords.member_id": "gone", "sign_ins.member_id": "gone", "sign_in_codes.member_id": "gone", "provider_subjects.member_id": "gone",
	"messages.member_id": "gone", "notice_wishes.member_id": "gone", "feeds.member_id": "gone", "tank_certifications.member_id": "gone",
	"strikes.member_id": "gone", "idempotency_keys.principal": "gone",
	"members.email": "gone", "members.email_claimed": "gone", "invitations.email": "gone", "mails.recipient": "gone", "code_requests.email": "gone",
	"password_failures.email_sha256": "gone", "sign_in_codes.mailed_to": "gone",
	// Stays as an id, which is a pseudonym: the books, the film's traces, what is in the lab's calendar.
	"rolls.member_id": "id", "bookings.member_id": "id", "waiting_entries.member_id": "id", "sessions.operator_id": "id", "openings.operator_id": "id",
	"postings.member_id": "id", "payments.payer": "id", "payments.payee": "id", "kits.bought_by": "id", "subscriptions.member_id": "id",
	"consents.member_id": "id", "invitations.member_id": "id", "members.guest_of": "id", "hooks.added_by": "id",
	"audit_log.by_member": "id", "audit_log.about_member": "id",
	// Stays as an id of who did it.
	"entries.made_by": "mentioned", "payments.recorded_by": "mentioned", "consents.recorded_by": "mentioned", "closed_months.closed_by": "mentioned",
	"free_rolls.given_by": "mentioned", "terms_changes.proposed_by": "mentioned", "directions.given_by": "mentioned", "plans.made_by": "mentioned",
	"runs.recorded_by": "mentioned", "bath_sets.mixed_by": "mentioned", "quarantines.imposed_by": "mentioned", "quarantines.lifted_by": "mentioned",
	"top_ups.made_by": "mentioned", "waste.logged_by": "mentioned", "readings.read_by": "mentioned", "closures.made_by": "mentioned",
	"extra_days.made_by": "mentioned", "invitations.invited_by": "mentioned", "tank_certifications.certified_by": "mentioned",
}

// columnsOfOthers look like it and are none.
var columnsOfOthers = map[string]string{
	"notice_wishes.mail":     "whether, not where",
	"payments.answered_by":   "mentioned beside payer and payee, who are in the export",
	"sign_ins.ended_by":      "is how, not who",
	"river_job.attempted_by": "a server",
}

// ready makes the leaver's row one that does not hold the erasure up.
var ready = map[string]string{
	"invitations.member_id": `UPDATE invitations SET invited_by = $1 WHERE member_id = $1`,
	"idempotency_keys.principal": `INSERT INTO idempotency_keys (principal, route, key, fingerprint, status, headers, body, created_at)
		SELECT lab_id || '/' || id, 'POST /', 'k', '', 200, '{}', '', now() FROM members WHERE id = $1`,
	"rolls.member_id":           `UPDATE rolls SET status = 'collected' WHERE member_id = $1`,
	"postings.member_id":        `INSERT INTO postings SELECT (jsonb_populate_record(p, jsonb_build_object('line', 99, 'amount_minor', -amount_minor))).* FROM postings p WHERE member_id = $1`,
	"payments.payer":            `UPDATE payments SET state = 'confirmed' WHERE payer = $1`,
	"payments.payee":            `UPDATE payments SET state = 'confirmed' WHERE payee = $1`,
	"waiting_entries.member_id": `UPDATE waiting_entries SET ended_at = now(), outcome = 'left' WHERE member_id = $1`,
	"bookings.member_id":        `UPDATE bookings SET cancelled_at = now(), lapsed_at = NULL, no_show_at = NULL WHERE member_id = $1`,
	"sign_in_codes.mailed_to":   `UPDATE sign_in_codes SET member_id = $1 WHERE mailed_to IS NOT NULL`,
}

// tryEveryTable has one row after another be of a member who has left, looks for
// it in the export, erases the member, and looks what is left. Nothing stays.
func tryEveryTable(t *testing.T, s *story) {
	g := &guarded{t: t, owner: s.server.Pool, theirs: s.Told.Lab, own: "lab_own"}
	g.populate(g.tables())
	found := map[string]string{} // by column, its type
	g.tx(func(ctx context.Context, tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `
			SELECT c.relname || '.' || a.attname, a.atttypid::regtype::text
			FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped
			WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p') AND a.attname <> 'lab_id'
				AND (a.attname ~ '(mail|recipient|address|member|principal|_by$)' OR EXISTS (SELECT FROM pg_constraint k
					WHERE k.conrelid = c.oid AND k.contype = 'f' AND k.confrelid = 'members'::regclass AND a.attnum = ANY (k.conkey)))`)
		if err != nil {
			return err
		}
		var column, kind string
		_, err = pgx.ForEachRow(rows, []any{&column, &kind}, func() error { found[column] = kind; return nil })
		return err
	})
	for column := range found {
		if personalColumns[column] == "" && columnsOfOthers[column] == "" {
			t.Errorf("%s refers to a member: say what the export and the erasure do with it", column)
		}
	}
	tried := 0
	for column, left := range personalColumns {
		if found[column] == "" {
			t.Errorf("%s is not there", column)
			continue
		}
		tried++
		if err := s.tryColumn(t.Context(), column, left); err != nil {
			t.Errorf("%s: %v", column, err)
		}
	}
	t.Logf("%d columns in which members are tried, %d are of others", tried, len(columnsOfOthers))
}

// tryColumn tries one column, in a transaction that is undone.
func (s *story) tryColumn(ctx context.Context, column, left string) error {
	table, name, _ := strings.Cut(column, ".")
	undo := errors.New("undo")
	var value any = leaver
	switch name {
	case "email", "recipient", "mailed_to":
		value = leaverMail
	case "email_claimed":
		value = true
	case "email_sha256":
		value = nil
	case "principal":
		value = s.Told.Lab + "/" + leaver
	}
	inLab := `lab_id = $1`
	if table == "idempotency_keys" {
		inLab = `$1 <> ''`
	}
	err := pgx.BeginFunc(ctx, s.server.Pool, func(tx pgx.Tx) error {
		do := func(sql string, args ...any) error {
			_, err := tx.Exec(ctx, sql, args...)
			if err != nil {
				return fmt.Errorf("%s: %w", sql, err)
			}
			return nil
		}
		err := errors.Join(do(`SET LOCAL session_replication_role = replica`),
			do(`INSERT INTO members (lab_id, id, name, roles, joined_at, left_at, email, email_claimed) VALUES ($1, $2, 'Lou Leaver', '{member}', now(), now(), $3, true)`,
				s.Told.Lab, leaver, leaverMail))
		if err != nil {
			return err
		}
		if name == "email_sha256" {
			if err := tx.QueryRow(ctx, `SELECT sha256('address `+leaverMail+`')`).Scan(&value); err != nil {
				return err
			}
		}
		if table != "members" || name == "guest_of" {
			if err := do(`UPDATE `+table+` SET `+name+` = $2 WHERE ctid = (SELECT ctid FROM `+table+` WHERE `+inLab+` AND `+free(table)+` LIMIT 1)`, s.Told.Lab, value); err != nil {
				return err
			}
		}
		if sql := ready[column]; sql != "" {
			if err := do(sql, leaver); err != nil {
				return err
			}
		}
		if err := do(`SET LOCAL session_replication_role = origin`); err != nil {
			return err
		}
		l, err := lab.Find(ctx, tx, s.Told.Lab)
		if err != nil {
			return err
		}
		scope := lab.Scope{Lab: l, Now: l.CreatedAt.AddDate(2, 0, 0)}
		data, err := lab.Personal(ctx, tx, scope, leaver)
		switch {
		case err != nil:
			return err
		case table == "members" && name != "guest_of":
			if data.Member.Email == nil {
				return errors.New("the export lacks it")
			}
		case left == "mentioned" && len(data.Mentions[table]) == 0, left != "mentioned" && len(data.Records[table]) == 0:
			return fmt.Errorf("the export lacks it: %+v", data)
		}
		if _, err := scheduling.Erase(ctx, tx, scope, leaver); err != nil {
			return err
		}
		var n int
		if err := tx.QueryRow(ctx, `SELECT count(*) FROM `+table+` WHERE `+inLab+` AND `+name+` = $2`, s.Told.Lab, value).Scan(&n); err != nil {
			return err
		}
		if (n == 0) != (left == "gone") {
			return fmt.Errorf("the erasure leaves %d rows, it was to be %s", n, left)
		}
		return undo
	})
	if errors.Is(err, undo) {
		return nil
	}
	return err
}

// free is which rows of a table can be made the leaver's.
func free(table string) string {
	if table == "postings" {
		return `account = 'member'`
	}
	return `true`
}
