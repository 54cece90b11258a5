package api_test

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"wetside/api/apitest"
	"wetside/scheduling"
)

// newMixedLab is a badLab whose kit is mixed, so that its sessions are long
// enough for a run.
func newMixedLab(t *testing.T, s *apitest.Server) *badLab {
	t.Helper()
	b := newBadLab(t, s, "Sallowmere Film Co-op")
	b.Do(http.MethodPost, b.Path("bath-sets"), b.in(`{"kit":"KIT"}`)).Want(http.StatusCreated)
	return b
}

// TestBookingsLive takes bookings through their life by HTTP, each answer held
// against the contract.
func TestBookingsLive(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	b := newMixedLab(t, s)
	ines := s.Join(t, b.Client, "Bela Ostrow").At(badNow)
	roll := apitest.As[scheduling.Roll](ines.Post(ines.Path("rolls"), `{"format":"135-36","process":"c-41"}`).Want(201)).ID
	second := apitest.As[scheduling.Roll](ines.Post(ines.Path("rolls"), `{"format":"135-36","process":"c-41"}`).Want(201)).ID

	rules := b.Get(b.Path("booking-rules")).Want(200)
	ines.Patch(b.Path("booking-rules"), rules.ETag(), `{"hold":"PT30M"}`).WantProblem(403, "forbidden")
	b.Patch(b.Path("booking-rules"), rules.ETag(), `{"hold":"P30D","strikes":0}`).WantProblem(422, "invalid")
	b.Patch(b.Path("booking-rules"), rules.ETag(), `{"hold":"PT30M","strikes":1,"rolls_a_week":null}`).Want(200)
	b.Patch(b.Path("booking-rules"), rules.ETag(), `{"hold":"PT30M"}`).WantProblem(412, "stale")

	hold := ines.Post(ines.Path("bookings"), map[string]any{"session": b.session, "rolls": []string{roll}, "hold": true}).Want(201)
	held := apitest.As[scheduling.Booking](hold)
	if held.Status != scheduling.Held || !held.HeldUntil.Equal(badNow.Add(30*time.Minute)) {
		t.Fatalf("held: %+v", held)
	}
	at := hold.Header("Location")
	ines.With("If-Match", hold.ETag()).Post(at+"/confirmation", nil).Want(200)
	ines.With("If-Match", hold.ETag()).Post(at+"/confirmation", nil).WantProblem(412, "stale")
	now := ines.Get(at).Want(200)
	changed := ines.Patch(at, now.ETag(), map[string]any{"rolls": []string{roll, second}}).Want(200)
	ines.Patch(at, changed.ETag(), map[string]any{"session": b.elsewhere}).WantProblem(409, "does-not-fit")
	ines.Patch(at, changed.ETag(), map[string]any{"session": b.cancelled}).WantProblem(409, "session-cancelled")
	if got := ines.Get(at).Want(200); got.ETag() != changed.ETag() {
		t.Errorf("a refused move changed the booking: %s", got.Body)
	}
	b.With("If-Match", changed.ETag()).Post(at+"/no-show", nil).WantProblem(409, "session-not-begun")
	late := b.At(time.Date(2026, 11, 26, 10, 30, 0, 0, time.UTC))
	late.With("If-Match", changed.ETag()).Post(at+"/no-show", nil).Want(200)
	record := apitest.As[scheduling.BookingRecord](ines.Get(ines.Path("members", ines.MemberID, "booking-record")).Want(200))
	if len(record.Strikes) != 1 || record.SuspendedUntil == nil {
		t.Errorf("after a no-show: %+v", record)
	}
	body := map[string]any{"session": b.session, "rolls": []string{roll}}
	ines.Post(ines.Path("bookings"), body).WantProblem(409, "booking-suspended")
	b.Do(http.MethodDelete, b.Path("strikes", record.Strikes[0].ID), nil).Want(204)
	b.Do(http.MethodDelete, b.Path("strikes", record.Strikes[0].ID), nil).WantProblem(404, "not-found")
	ines.Post(ines.Path("bookings"), body).Want(201)
	s.Join(t, b.Client, "Orla Finch").Get(ines.Path("members", ines.MemberID, "booking-record")).WantProblem(404, "not-found")
}

// TestWaitingIsInTheContract waits, is offered, accepts, declines and leaves.
func TestWaitingIsInTheContract(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	b := newMixedLab(t, s)
	list := b.Path("waiting-list")
	wait := func(body string) *apitest.Response { return b.Post(list, b.in(body)).Want(201) }
	// There is room: what is waited for is offered at once.
	joined := wait(`{"session":"SESSION","rolls":["ROLL"]}`)
	entry := apitest.As[scheduling.Waiting](joined)
	if entry.Status != scheduling.Offered || entry.Booking == nil {
		t.Fatalf("joined: %+v", entry)
	}
	at := joined.Header("Location")
	b.Patch(b.Path("bookings", *entry.Booking), "*", `{"rolls":["`+b.roll+`"]}`).WantProblem(409, "offer-open")
	b.With("If-Match", joined.ETag()).Post(at+"/declining", nil).Want(200)
	again := wait(`{"from":"2026-11-26T00:00:00Z","until":"2026-11-27T00:00:00Z","rolls":["ROLL"]}`)
	b.Post(list, b.in(`{"session":"SESSION","rolls":["ROLL"]}`)).WantProblem(409, "roll-already-booked")
	accepted := b.With("If-Match", again.ETag()).Post(again.Header("Location")+"/acceptance", nil).Want(200)
	if got := apitest.As[scheduling.Waiting](accepted); got.Status != scheduling.Accepted {
		t.Errorf("accepted: %+v", got)
	}
	b.With("If-Match", accepted.ETag()).Post(again.Header("Location")+"/acceptance", nil).WantProblem(409, "no-offer")
	b.Delete(again.Header("Location"), accepted.ETag()).WantProblem(409, "waiting-ended")
	if got := b.Get(list).Want(200); strings.Count(string(got.Body), `"id":`) != 2 {
		t.Errorf("the list: %s", got.Body)
	}
	// Nothing is for this film at two o'clock: it waits, and leaves.
	other := apitest.As[scheduling.Roll](b.Post(b.Path("rolls"), `{"format":"135-36","process":"c-41"}`).Want(201)).ID
	waits := wait(`{"session":"ELSEWHERE","rolls":["` + other + `"]}`)
	if got := apitest.As[scheduling.Waiting](waits); got.Status != scheduling.Waits || *got.Position != 1 {
		t.Errorf("waits: %+v", got)
	}
	b.Get(waits.Header("Location")).Want(200)
	b.Delete(waits.Header("Location"), waits.ETag()).Want(204)
	// What comes free by other changes of the lab is offered with them.
	tank := b.Path("tanks", b.tank)
	b.Patch(tank, "*", `{"out_of_order":true}`).Want(200)
	waits = wait(`{"session":"SESSION","rolls":["` + other + `"]}`)
	if got := apitest.As[scheduling.Waiting](waits); got.Status != scheduling.Waits {
		t.Errorf("with the tank out of order: %+v", got)
	}
	b.Patch(tank, "*", `{"out_of_order":false}`).Want(200)
	if got := apitest.As[scheduling.Waiting](b.Get(waits.Header("Location")).Want(200)); got.Status != scheduling.Offered {
		t.Errorf("with the tank repaired: %+v", got)
	}
}

// TestBadBookingsAreProblemsOfTheirOwn wants of each kind of bad input another
// problem, and nothing done.
func TestBadBookingsAreProblemsOfTheirOwn(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	b := newMixedLab(t, s)
	mine := b.in(`{"session":"SESSION","rolls":["ROLL"]}`)
	other := s.Join(t, b.Client, "Bela Ostrow").At(badNow)
	others := apitest.As[scheduling.Roll](other.Post(other.Path("rolls"), `{"format":"135-36","process":"c-41"}`).Want(201)).ID
	bookings, list := b.Path("bookings"), b.Path("waiting-list")
	many := `{"session":"` + b.session + `","rolls":[` + strings.TrimSuffix(strings.Repeat(`"`+b.roll+`",`, 10_000), ",") + `]}`

	b.At(time.Date(2026, 11, 26, 11, 0, 0, 0, time.UTC)).Post(bookings, mine).WantProblem(409, "session-over")
	other.Post(bookings, mine).WantProblem(404, "not-found")
	b.Post(bookings, b.in(`{"session":"SESSION","rolls":["`+others+`","ROLL"]}`)).WantProblem(422, "invalid") // whose rolls?
	b.Post(bookings, b.in(`{"session":"SESSION","rolls":["ROLL","ROLL"]}`)).WantProblem(422, "roll-twice")
	b.Post(bookings, many).WantProblem(422, "too-many-in-booking")
	b.Post(list, b.in(`{"from":"2026-11-26T10:00:00","until":"2026-11-27T00:00:00Z","rolls":["ROLL"]}`)).WantProblem(400, "malformed")
	if n := strings.Count(string(b.Get(bookings).Body)+string(b.Get(list).Body), `"id":`); n != 0 {
		t.Errorf("%d things came of what was refused", n)
	}
	// A roll that is batched, and clocks that jump: what lapsed once stays so.
	hold := b.Post(bookings, strings.Replace(mine, "}", `,"hold":true}`, 1)).Want(201)
	later := b.At(badNow.Add(time.Hour))
	later.With("If-Match", hold.ETag()).Post(hold.Header("Location")+"/confirmation", nil).WantProblem(409, "hold-lapsed")
	later.Post(bookings, mine).Want(201)
	b.With("If-Match", hold.ETag()).Post(hold.Header("Location")+"/confirmation", nil).WantProblem(409, "hold-lapsed")
	plan := b.Do(http.MethodPost, b.Path("plans"), `{"from":"2026-11-25T09:00:00Z","until":"2026-11-28T00:00:00Z","budget":"PT0S"}`).Want(201)
	b.With("If-Match", plan.ETag()).Post(plan.Header("Location")+"/commitment", nil).Want(200)
	b.Post(bookings, mine).WantProblem(409, "roll-not-on-shelf")
}
