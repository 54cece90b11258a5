package telling_test

import (
	"errors"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/telling"
)

func offered(to ...string) telling.Notice {
	return telling.Notice{Kind: telling.PlaceOffered, To: to, About: "offer_1",
		Words: map[string]string{"session": "Monday 30 November, 18:00–22:00", "until": "Sunday, 12:00"}}
}

func TestANoticeBecomesAMessageOfEverybodyItConcerns(t *testing.T) {
	t.Parallel()
	told := `SELECT member_id FROM messages ORDER BY member_id`
	for name, c := range map[string]struct {
		to   []string
		role lab.Role
		want []string
	}{
		"a member":                     {to: []string{"ann"}, want: []string{"ann"}},
		"a guest's host":               {to: []string{"dov"}, want: []string{"bea"}},
		"once, by whatever way":        {to: []string{"bea", "dov", "bea"}, role: lab.RoleSteward, want: []string{"bea"}},
		"holders of a role":            {role: lab.RoleMember, want: []string{"ann", "bea"}},
		"nobody who has left":          {to: []string{"cal"}},
		"nobody who was never there":   {to: []string{"eve"}},
		"members beside those by role": {to: []string{"ann"}, role: lab.RoleSteward, want: []string{"ann", "bea"}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			w := newWorkshop(t)
			n := offered(c.to...)
			n.Role = c.role
			w.Must(func(tx pgx.Tx) error { return telling.Tell(t.Context(), tx, w.Scope, n) })
			if diff := cmp.Diff(c.want, w.All(told)); len(c.want)+len(w.All(told)) > 0 && diff != "" {
				t.Errorf("told (want -, got +):\n%s", diff)
			}
		})
	}
}

func TestANoticeBelongsToItsTransaction(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	undone := errors.New("undone")
	err := w.InTx(func(tx pgx.Tx) error {
		return errors.Join(
			telling.Tell(t.Context(), tx, w.Scope, offered("ann")),
			telling.Mail(t.Context(), tx, "lab_1", "ann@example.org", "Hello", "Hello."),
			undone)
	})
	if !errors.Is(err, undone) {
		t.Fatal(err)
	}
	for _, table := range []string{"messages", "mails", "river_job"} {
		if n := w.All(`SELECT count(*)::text FROM ` + table); n[0] != "0" {
			t.Errorf("%s rows of a transaction that was rolled back are in %s", n[0], table)
		}
	}
}

func TestANoticeTakesAllItsWords(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	n := offered("ann")
	delete(n.Words, "until")
	if err := w.InTx(func(tx pgx.Tx) error { return telling.Tell(t.Context(), tx, w.Scope, n) }); err == nil {
		t.Error("a notice without one of its words is told")
	}
	n = offered("ann")
	n.Kind = "place-offerred"
	if err := w.InTx(func(tx pgx.Tx) error { return telling.Tell(t.Context(), tx, w.Scope, n) }); err == nil {
		t.Error("a notice of a kind that is not there is told")
	}
	w.Must(func(tx pgx.Tx) error { return telling.Tell(t.Context(), tx, w.Scope, offered("ann")) })
	want := []string{"place-offered|offer_1|There is a place for you|You are next on the waiting list: a place in the session of " +
		"Monday 30 November, 18:00–22:00 is yours if you accept it by Sunday, 12:00."}
	if diff := cmp.Diff(want, w.All(`SELECT concat_ws('|', kind, about, title, text) FROM messages`)); diff != "" {
		t.Errorf("want -, got +:\n%s", diff)
	}
}

func TestTimesAreInTheLabsOwn(t *testing.T) {
	t.Parallel()
	l := lab.Lab{TimeZone: "Europe/Lisbon"}
	from := time.Date(2026, 7, 31, 22, 30, 0, 0, time.UTC)
	if got := telling.Span(l, from, from.Add(2*time.Hour)); got != "Friday 31 July, 23:30–01:30" {
		t.Error(got)
	}
}
