package scheduling_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"

	"wetside/chemistry/shares"
	"wetside/lab"
	"wetside/lab/units"
	"wetside/scheduling"
)

// join has somebody join with roles.
func (b *bench) join(name string, roles ...lab.Role) lab.Scope {
	b.t.Helper()
	s := b.steward
	s.By = must(b, b.steward, lab.AddMember, lab.NewMember{Name: name, Roles: roles})
	return s
}

func TestSessionsAreRunByWhoMay(t *testing.T) {
	b := newBench(t)
	gone := b.join("Gone", lab.RoleSteward)
	must(b, b.steward, scheduling.Leave, gone.By.ID)
	guest := must(b, b.ana, shares.AddGuest, shares.NewGuest{Name: "Guest"})
	for name, c := range map[string]struct {
		operator string
		fault    string // none: may run it
	}{
		"a steward":    {b.steward.By.ID, ""},
		"a member":     {b.ana.By.ID, ""},
		"a guest":      {guest.ID, "guest"},
		"who has left": {gone.By.ID, "unknown"},
		"nobody":       {"member_none", "unknown"},
	} {
		start := monday.AddDate(0, 0, 5)
		_, session := trying(b, b.steward, scheduling.AddSession, scheduling.NewSession{Tank: b.tank.ID, Operator: c.operator, Start: start, End: start.Add(time.Hour)})
		_, opening := trying(b, b.steward, scheduling.AddOpening, scheduling.NewOpening{Rule: "FREQ=DAILY", Starts: "03:00", Lasts: units.Hour, Tank: b.tank.ID, Operator: c.operator})
		for what, err := range map[string]error{"a session": session, "an opening": opening} {
			if c.fault == "" {
				if err != nil {
					t.Errorf("%s of %s: %v", what, name, err)
				}
				continue
			}
			want := []string{"/operator " + c.fault}
			var got []string
			for _, f := range b.refused("invalid", err).Faults {
				got = append(got, f.Pointer+" "+f.Code)
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("%s of %s (want -, got +):\n%s", what, name, diff)
			}
		}
	}
}

// trying is call, undone at the end.
func trying[In, Out any](b *bench, s lab.Scope, f func(context.Context, pgx.Tx, lab.Scope, In) (Out, error), in In) (out Out, err error) {
	b.t.Helper()
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		inner, failed := tx.Begin(ctx)
		if failed != nil {
			return failed
		}
		out, err = f(ctx, inner, s, in)
		return inner.Rollback(ctx)
	})
	return out, err
}

// Who leaves may be named for sessions to come: those stay, booked or not, and
// the stewards hear of them. No more are made until the opening names another.
func TestOperatorsWhoLeave(t *testing.T) {
	b := newBench(t)
	cy := b.join("Cy", lab.RoleSteward)
	opening := must(b, b.steward, scheduling.AddOpening, scheduling.NewOpening{
		Rule: "FREQ=DAILY", Starts: "09:00", Lasts: 4 * units.Hour, Tank: b.tank.ID, Operator: cy.By.ID})
	made := b.keep(scheduling.CalendarSettings{DaysAhead: ptr(2)}).Change.Sessions
	if len(made) != 2 {
		t.Fatalf("%d sessions were made", len(made))
	}
	must(b, b.ana, scheduling.Book, booked(made[1].ID, b.roll(b.ana, "135-36", "reversal-3").ID))
	if left := must(b, b.steward, scheduling.Leave, cy.By.ID); left.LeftAt == nil {
		t.Error("Cy has not left")
	}
	told := b.texts(`SELECT member_id || ': ' || text FROM messages WHERE kind = 'operator-left'`)
	if len(told) != 1 || !strings.HasPrefix(told[0], b.steward.By.ID+": ") || !strings.Contains(told[0],
		"the session of Monday 7 June, 09:00–13:00; the session of Tuesday 8 June, 09:00–13:00; one opening.") {
		t.Errorf("told %q", told)
	}

	b.at(monday.AddDate(0, 0, 1))
	change := b.ahead()
	want := []scheduling.OccurrenceNote{{Opening: opening.ID, Day: "2027-06-09", Code: "operator-left", Detail: "its operator has left the lab"}}
	if diff := cmp.Diff(want, change.Skipped); diff != "" || len(change.Sessions)+len(change.Changed)+len(change.CalledOff) > 0 {
		t.Errorf("the next day %+v (want -, got +):\n%s", change, diff)
	}
	for _, e := range made {
		if got := b.read(e); got.CancelledAt != nil || got.Operator != cy.By.ID {
			t.Errorf("what was made before is %+v", got)
		}
	}

	again := b.reopen(opening.Opening, scheduling.OpeningChange{Operator: &b.steward.By.ID}).Change
	if len(again.Sessions) != 1 || again.Sessions[0].Operator != b.steward.By.ID || len(again.Skipped) > 0 {
		t.Errorf("by another operator %+v", again)
	}
	if len(again.Kept) != 1 || again.Kept[0].Session.ID != made[1].ID {
		t.Errorf("kept are %+v, want the session that is booked", again.Kept)
	}
}

// Nobody is told of one who leaves and was to run nothing.
func TestOthersWhoLeave(t *testing.T) {
	b := newBench(t)
	cy := b.join("Cy", lab.RoleSteward)
	over := must(b, b.steward, scheduling.AddSession, scheduling.NewSession{
		Tank: b.tank.ID, Operator: cy.By.ID, Start: monday.Add(time.Hour), End: monday.Add(2 * time.Hour)})
	off := must(b, b.steward, scheduling.AddSession, scheduling.NewSession{
		Tank: b.tank.ID, Operator: cy.By.ID, Start: monday.AddDate(0, 0, 6), End: monday.AddDate(0, 0, 6).Add(time.Hour)})
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		_, err := scheduling.CancelSession(ctx, tx, b.steward, off.ID, off.Version)
		return err
	})
	b.at(over.End)
	must(b, b.steward, scheduling.Leave, cy.By.ID)
	if told := b.texts(`SELECT text FROM messages WHERE kind = 'operator-left'`); len(told) > 0 {
		t.Errorf("told %q", told)
	}
}

// texts are what a query of one column gives.
func (b *bench) texts(query string) (all []string) {
	b.t.Helper()
	b.do(func(ctx context.Context, tx pgx.Tx) error {
		rows, err := tx.Query(ctx, query)
		if err != nil {
			return err
		}
		all, err = pgx.CollectRows(rows, pgx.RowTo[string])
		return err
	})
	return all
}
