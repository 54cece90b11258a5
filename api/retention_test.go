package api_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"wetside/api/apitest"
)

// A term is how long rows are kept from an instant, and how one is made; $1 is
// the lab, $2 a member, $3 the instant, $4 a number of its own.
type term struct {
	table, instant string
	keep           time.Duration
	insert         string
}

const dayLong = 24 * time.Hour

// terms are those that README.md states.
var terms = []term{
	{"messages", "sent_at", 365 * dayLong, `(lab_id, id, member_id, kind, title, text, sent_at) VALUES ($1, 'message_' || $4, $2, 'k', 't', 't', $3)`},
	{"hook_events", "at", 30 * dayLong, `(lab_id, id, kind, at) SELECT $1, 'event_' || $4, $2, $3`},
	{"mails", "queued_at", 14 * dayLong, `(lab_id, id, recipient, subject, text, queued_at) VALUES ($1, 'mail_' || $4, $2, 's', 't', $3)`},
	{"sign_ins", "expires_at", 30 * dayLong, `(lab_id, id, member_id, method, device, begun_at, last_used_at, expires_at)
		VALUES ($1, 'signin_' || $4, $2, 'code', '', $3::timestamptz - interval '1 day', $3, $3)`},
	{"sign_in_codes", "expires_at", 30 * dayLong, `(code_sha256, lab_id, member_id, created_at, expires_at) VALUES (sha256($4::bytea), $1, $2, $3, $3)`},
	{"invitations", "expires_at", 30 * dayLong, `(lab_id, id, secret_sha256, name, email, roles, invited_by, created_at, expires_at)
		VALUES ($1, 'invitation_' || $4, sha256($4::bytea), 'Di', 'di@example.org', '{member}', $2, $3, $3)`},
	{"password_failures", "last_at", 30 * dayLong, `(lab_id, email_sha256, count, last_at) SELECT $1, sha256(($4 || $2)::bytea), 1, $3`},
	{"provider_tokens", "expires_at", 30 * dayLong, `(lab_id, token_sha256, expires_at) SELECT $1, sha256(($4 || $2)::bytea), $3`},
	{"code_requests", "asked_at", dayLong, `(lab_id, id, email, asked_at) VALUES ($1, 'coderequest_' || $4, $2 || '@example.org', $3)`},
}

// What has been kept for as long as it is to be goes by itself, every day,
// though nobody signs in, and what is younger stays.
func TestWhatExpiresGoesByItself(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	for _, k := range terms {
		for n, age := range []time.Duration{k.keep + time.Hour, k.keep - time.Hour} {
			_, err := s.Pool.Exec(t.Context(), `INSERT INTO `+k.table+` `+k.insert, keeper.LabID, keeper.MemberID, time.Now().Add(-age), fmt.Sprint(n))
			if err != nil {
				t.Fatalf("%s: %v", k.table, err)
			}
		}
	}
	startJobs(t, s)
	within(t, "the day's round", func() bool {
		var done int
		err := s.Pool.QueryRow(t.Context(), `SELECT count(*) FROM river_job WHERE state = 'completed' AND args ->> 'lab' = $1
			AND kind IN ('forget-told', 'forget-sign-ins')`, keeper.LabID).Scan(&done)
		return err == nil && done == 2
	})
	for _, k := range terms {
		var old, young int
		err := s.Pool.QueryRow(t.Context(), strings.NewReplacer("INSTANT", k.instant, "TABLE", k.table).Replace(
			`SELECT count(*) FILTER (WHERE INSTANT < $2), count(*) FILTER (WHERE INSTANT BETWEEN $2 AND $3) FROM TABLE WHERE lab_id = $1`),
			keeper.LabID, time.Now().Add(-k.keep), time.Now().Add(-k.keep+2*time.Hour)).Scan(&old, &young)
		if err != nil || old != 0 || young != 1 {
			t.Errorf("%s: %d that are too old are there, and %d of one that is not: %v", k.table, old, young, err)
		}
	}
}
