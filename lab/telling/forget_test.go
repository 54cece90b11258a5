package telling_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"

	"wetside/lab/telling"
)

// What has been kept long enough goes by itself, and nothing else.
func TestOldNoticesAreForgotten(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.hook("https://example.org/in")
	for range 2 {
		w.Must(func(tx pgx.Tx) error { return telling.Tell(t.Context(), tx, w.Scope, offered("ann")) })
	}
	w.All(`UPDATE messages SET sent_at = now() - interval '366 days' WHERE id = (SELECT min(id) FROM messages) RETURNING id`)
	w.All(`UPDATE hook_events SET at = now() - interval '31 days' WHERE id = (SELECT min(id) FROM hook_events) RETURNING id`)
	w.All(`INSERT INTO mails (lab_id, id, recipient, subject, text, queued_at) VALUES
		('lab_1', 'mail_old', 'a@example.org', 's', 't', now() - interval '15 days'), ('lab_1', 'mail_new', 'a@example.org', 's', 't', now()) RETURNING id`)
	kept := `SELECT (SELECT count(*) FROM messages) || ' ' || (SELECT count(*) FROM hook_events) || ' ' || (SELECT count(*) FROM hook_deliveries)
		|| ' ' || (SELECT string_agg(id, ' ') FROM mails)`
	w.engage(telling.Config{Hooks: telling.Hooks{Key: hooks.Key}})
	w.Until("the day's round", func() bool {
		return cmp.Equal([]string{"completed"}, w.All(`SELECT state::text FROM river_job WHERE kind = 'forget-told'`))
	})
	if diff := cmp.Diff([]string{"1 1 1 mail_new"}, w.All(kept)); diff != "" {
		t.Errorf("kept (want -, got +):\n%s", diff)
	}
}
