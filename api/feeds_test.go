package api_test

import (
	"bytes"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-ical"

	"wetside/api/apitest"
	"wetside/scheduling"
)

// appointment is what a calendar's reader sees of an event.
type appointment struct {
	UID, Status, Summary string
	Sequence             int
	Start, End           time.Time
}

// calendar reads a feed as a program without a token does.
func calendar(t *testing.T, from *apitest.Client, path string) map[string]appointment {
	t.Helper()
	r := from.Get(path).Want(200)
	if r.Header("Content-Type") != "text/calendar; charset=utf-8" {
		t.Errorf("a calendar of %s", r.Header("Content-Type"))
	}
	parsed, err := ical.NewDecoder(bytes.NewReader(r.Body)).Decode()
	if err != nil {
		t.Fatalf("%v\n%s", err, r.Body)
	}
	all := map[string]appointment{}
	for _, e := range parsed.Events() {
		var a appointment
		text := func(name string) string {
			v, err := e.Props.Text(name)
			if err != nil {
				t.Errorf("%s: %v", name, err)
			}
			return v
		}
		a.UID, a.Status, a.Summary = text("UID"), text("STATUS"), text("SUMMARY")
		if a.Sequence, err = e.Props.Get("SEQUENCE").Int(); err != nil {
			t.Error(err)
		}
		if a.Start, err = e.DateTimeStart(nil); err != nil {
			t.Error(err)
		}
		if a.End, err = e.DateTimeEnd(nil); err != nil {
			t.Error(err)
		}
		all[a.UID] = a
	}
	return all
}

func (b *badLab) feed(t *testing.T, c *apitest.Client, of string) string {
	t.Helper()
	return apitest.As[scheduling.FeedMade](c.Post(c.Path("feeds"), map[string]any{"of": of}).Want(201)).Path
}

// An appointment keeps its UID through a booking's life, and every change of it
// has a higher sequence number.
func TestAFeedFollowsABooking(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	b := newMixedLab(t, s)
	ana := s.Join(t, b.Client, "Ana Teal").At(badNow)
	roll := apitest.As[scheduling.Roll](ana.Post(ana.Path("rolls"), `{"format":"135-36","process":"c-41"}`).Want(201)).ID
	day := time.Date(2026, 11, 27, 10, 0, 0, 0, time.UTC)
	later := apitest.As[scheduling.Session](b.Post(b.Path("sessions"), map[string]any{"tank": b.tank, "operator": b.MemberID,
		"start": day, "end": day.Add(50 * time.Minute), "processes": []string{"c-41"}}).Want(201)).ID
	path := b.feed(t, ana, "member")
	anyone := s.Anyone(t).At(badNow)
	if all := calendar(t, anyone, path); len(all) != 0 {
		t.Errorf("before anything is booked: %v", all)
	}
	hold := ana.Post(ana.Path("bookings"), map[string]any{"session": b.session, "rolls": []string{roll}, "hold": true}).Want(201)
	at := hold.Header("Location")
	uid := apitest.As[scheduling.Booking](hold).ID + "@wetside"
	sequence := -1
	see := func(what, status string, start time.Time, now *apitest.Client) {
		t.Helper()
		all := calendar(t, now, path)
		got := all[uid]
		if len(all) != 1 || got.Status != status || !got.Start.Equal(start) || got.Sequence <= sequence || got.Summary != "Sallowmere Film Co-op: 1 roll" {
			t.Errorf("%s: %+v, want %s at %s after sequence %d", what, all, status, start, sequence)
		}
		sequence = got.Sequence
	}
	first := time.Date(2026, 11, 26, 10, 0, 0, 0, time.UTC)
	see("held", "TENTATIVE", first, anyone)
	confirmed := ana.With("If-Match", hold.ETag()).Post(at+"/confirmation", nil).Want(200)
	see("confirmed", "CONFIRMED", first, anyone)
	moved := ana.Patch(at, confirmed.ETag(), map[string]any{"session": later}).Want(200)
	see("moved", "CONFIRMED", day, anyone)
	ana.With("If-Match", moved.ETag()).Post(at+"/cancellation", nil).Want(200)
	see("cancelled", "CANCELLED", day, anyone)

	// A hold that has run out is seen to have, although nobody has acted on it.
	again := ana.Post(ana.Path("bookings"), map[string]any{"session": b.session, "rolls": []string{roll}, "hold": true}).Want(201)
	held := apitest.As[scheduling.Booking](again)
	before := calendar(t, anyone, path)[held.ID+"@wetside"]
	after := calendar(t, s.Anyone(t).At(held.HeldUntil.Add(time.Minute)), path)[held.ID+"@wetside"]
	if before.Status != "TENTATIVE" || after.Status != "CANCELLED" || after.Sequence <= before.Sequence {
		t.Errorf("a hold: %+v, once run out: %+v", before, after)
	}
}

func TestAFeedOfTheLabShowsItsSessions(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	b := newMixedLab(t, s)
	ana := s.Join(t, b.Client, "Ana Teal").At(badNow)
	path := b.feed(t, ana, "lab")
	anyone := s.Anyone(t).At(badNow)
	all := calendar(t, anyone, path)
	if len(all) != 3 || all[b.session+"@wetside"].Status != "CONFIRMED" || all[b.cancelled+"@wetside"].Status != "CANCELLED" ||
		all[b.cancelled+"@wetside"].Sequence <= all[b.session+"@wetside"].Sequence {
		t.Errorf("sessions: %+v", all)
	}
	text := string(anyone.Get(path).Body)
	for _, want := range []string{"TZID:Europe/Lisbon", "DTSTART;TZID=Europe/Lisbon:20261126T100000", "BEGIN:STANDARD", "BEGIN:DAYLIGHT"} {
		if !strings.Contains(text, want) {
			t.Errorf("%s is not in\n%s", want, text)
		}
	}
	for _, personal := range []string{"Ana", "Ines", "member_"} {
		if strings.Contains(text, personal) {
			t.Errorf("%s is in\n%s", personal, text)
		}
	}
	// Who comes again with the tag is told that nothing has changed, and of a change.
	tag := anyone.Get(path).ETag()
	anyone.With("If-None-Match", tag).Get(path).Want(304)
	b.With("If-Match", "*").Post(b.Path("sessions", b.elsewhere, "cancellation"), nil).Want(200)
	if got := anyone.With("If-None-Match", tag).Get(path).Want(200); got.ETag() == tag {
		t.Error("the tag is the same although a session was cancelled")
	}
}

// The address is all it takes, so it is kept as a hash alone, ends when its
// member says so or leaves, and leads into one lab.
func TestAFeedsAddressIsSecretAndEnds(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	b, other := newBadLab(t, s, "Sallowmere Film Co-op"), s.Found(t, "Attic")
	ana, bela := s.Join(t, b.Client, "Ana Teal"), s.Join(t, b.Client, "Bela Ostrow")
	made := apitest.As[scheduling.FeedMade](ana.Post(ana.Path("feeds"), `{"of":"member"}`).Want(201))
	secret := made.Path[strings.LastIndex(made.Path, "/")+1:]
	anyone := s.Anyone(t)
	anyone.Get(made.Path).Want(200)
	if list := ana.Get(ana.Path("feeds")).Want(200); strings.Contains(string(list.Body), secret) || !strings.Contains(string(list.Body), made.Feed.ID) {
		t.Errorf("the list: %s", list.Body)
	}
	var kept int
	err := s.Pool.QueryRow(t.Context(), `SELECT count(*) FROM feeds WHERE feeds::text LIKE '%' || $1 || '%'`, secret).Scan(&kept)
	if err != nil || kept != 0 {
		t.Errorf("the secret is in %d rows, %v", kept, err)
	}
	guess := strings.Repeat("A", 43)
	for _, path := range []string{ana.Path("calendars", guess), other.Path("calendars", secret), "/v1/labs/lab_00000000000000000000000000000000/calendars/" + secret} {
		anyone.Get(path).WantProblem(404, "not-found")
	}
	bela.Do(http.MethodDelete, ana.Path("feeds", made.Feed.ID), nil).WantProblem(404, "not-found")
	ana.Do(http.MethodDelete, ana.Path("feeds", made.Feed.ID), nil).Want(204)
	anyone.Get(made.Path).WantProblem(404, "not-found")

	last := b.feed(t, bela, "lab")
	b.Post(b.Path("members", bela.MemberID, "departure"), nil).Want(200)
	anyone.Get(last).WantProblem(404, "not-found")
	for range 10 {
		b.feed(t, ana, "member")
	}
	ana.Post(ana.Path("feeds"), `{"of":"member"}`).WantProblem(409, "too-many-feeds")
}
