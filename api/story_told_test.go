package api_test

import (
	"context"
	"log/slog"
	"strings"
	"testing"
	"time"

	"wetside/api/apitest"
	"wetside/lab/database"
	"wetside/lab/jobs"
	"wetside/lab/telling"
	"wetside/scheduling"
)

// told looks at what people heard of all this, and has the hour come at which
// film is dry.
func (s *story) told(t *testing.T) {
	heard := func(c *apitest.Client) map[telling.Kind]telling.Message {
		all := map[telling.Kind]telling.Message{}
		for _, m := range list[telling.Message](t, c, "messages") {
			all[m.Kind] = m
		}
		return all
	}
	for kind, c := range map[telling.Kind]*apitest.Client{
		telling.BookingConfirmed: s.farida, telling.KitClosed: s.farida,
	} {
		if m, ok := heard(c)[kind]; !ok || m.Text == "" || m.About == nil || strings.Contains(m.Text, "{") {
			t.Errorf("%s was told %+v, not of %s", c.MemberID, heard(c), kind)
		}
	}
	for _, kind := range []telling.Kind{telling.PaymentMade, telling.PaymentAnswered, telling.RunSpoiled} {
		var n int
		err := s.server.Pool.QueryRow(t.Context(), `SELECT count(*) FROM messages WHERE kind = $1`, kind).Scan(&n)
		if err != nil || n == 0 {
			t.Errorf("nobody was told of %s, %v", kind, err)
		}
	}
	if _, early := heard(s.farida)[telling.FilmDry]; early {
		t.Error("told that film is dry before it is")
	}
	e, err := jobs.New(jobs.Config{Pool: s.server.Pool, Store: database.NewStore(s.server.Pool, nil), Log: slog.New(slog.DiscardHandler), Workers: 2}, scheduling.Works()...)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.server.Pool.Exec(t.Context(), `UPDATE river_job SET scheduled_at = now() WHERE kind = 'film-dries'`); err != nil {
		t.Fatal(err)
	}
	if err := e.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := e.Stop(context.Background()); err != nil {
			t.Error(err)
		}
	}()
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		var waiting int
		err := s.server.Pool.QueryRow(t.Context(), `SELECT count(*) FROM river_job WHERE kind = 'film-dries' AND state <> 'completed'`).Scan(&waiting)
		if err != nil {
			t.Fatal(err)
		}
		if waiting == 0 {
			break
		}
		if time.Now().After(deadline) {
			t.Fatalf("%d are still to be told", waiting)
		}
	}
	var dry int
	if err := s.server.Pool.QueryRow(t.Context(), `SELECT count(*) FROM messages WHERE kind = 'film-dry'`).Scan(&dry); err != nil || dry == 0 {
		t.Errorf("nobody was told that film is dry, %v", err)
	}
}
