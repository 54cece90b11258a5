package api_test

import (
	"bufio"
	"fmt"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"wetside/api/apitest"
	"wetside/lab"
)

// badLab is a lab with a little of everything, and an instant at which it lives.
type badLab struct {
	*apitest.Client
	tank, session, cancelled, elsewhere, roll, kit string
}

var badNow = time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)

func newBadLab(t *testing.T, s *apitest.Server, name string) *badLab {
	t.Helper()
	b := &badLab{Client: s.Found(t, name).At(badNow)}
	id := func(path, body string) string {
		t.Helper()
		return apitest.As[struct {
			ID string `json:"id"`
		}](b.Do(http.MethodPost, b.Path(path), body).Want(http.StatusCreated)).ID
	}
	b.Do(http.MethodPost, b.Path("reel-kinds"), `{"code":"spiral-35","name":"Spiral","count":4,"height_mm":44,"solution_ml":290}`).Want(http.StatusCreated)
	b.tank = id("tanks", `{"name":"Tank","height_mm":250,"volume_ml":2000,"heater_w":600,"reel_kinds":["spiral-35"]}`)
	id("cabinets", cabinet)
	at := func(hour, processes string) string {
		return id("sessions", b.in(`{"tank":"TANK","operator":"ME","start":"2026-11-26T`+hour+`:00:00Z","end":"2026-11-26T`+hour+`:50:00Z","processes":[`+processes+`]}`))
	}
	b.session, b.cancelled, b.elsewhere = at("10", `"c-41"`), at("12", `"c-41"`), at("14", `"bw-negative"`)
	b.With("If-Match", "*").Post(b.Path("sessions", b.cancelled, "cancellation"), nil).Want(http.StatusOK)
	b.roll = id("rolls", `{"format":"135-36","process":"c-41"}`)
	b.kit = id("kits", `{"name":"Kit","process":"c-41","price":{"amount":4000,"currency":"EUR"},"bought_on":"2026-11-25","portions":1,
		"mix":"PT30M","unopened_until":"2027-11-25T00:00:00Z","opened_life":"P30D","rated_area_mm2":825808,
		"share_rule":"by_area","unused_falls_on":"users","baths":[
		{"role":"developer","use":"reused","volume_ml":2000,"life":"P30D"},{"role":"bleach","use":"reused","volume_ml":2000,"life":"P30D"},
		{"role":"fixer","use":"reused","volume_ml":2000,"life":"P30D"},{"role":"stabiliser","use":"reused","volume_ml":2000,"life":"P30D"}]}`)
	return b
}

// in writes the lab's ids for their names in capitals.
func (b *badLab) in(text string) string {
	return strings.NewReplacer("TANK", b.tank, "ME", b.MemberID, "SESSION", b.session, "CANCELLED", b.cancelled,
		"ELSEWHERE", b.elsewhere, "ROLL", b.roll, "KIT", b.kit).Replace(text)
}

// TestBadInputNamesTheField sends what is wrong in one place, and wants that
// place named and nothing changed.
func TestBadInputNamesTheField(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	b, other := newBadLab(t, s, "Sallowmere Film Co-op"), newBadLab(t, s, "Tideway Film Co-op")
	version := func() int64 { return apitest.As[lab.Lab](b.Get(b.Path())).ScheduleVersion }
	const opening = `{"rule":"FREQ=WEEKLY;BYDAY=MO","starts":"18:00","lasts":"LASTS","tank":"TANK","operator":"ME"}`
	const session = `{"tank":"TANK","operator":"ME","start":"START","end":"END"}`
	lasts := func(d string) string { return strings.Replace(opening, "LASTS", d, 1) }
	span := func(start, end string) string {
		return strings.NewReplacer("START", start, "END", end).Replace(session)
	}
	format := func(name string) string {
		return `{"code":"own","name":"` + name + `","kind":"still","width_um":35000,"length_mm":1600,"reel_kind":"spiral-35","hang":"strip","source":"measured"}`
	}
	for name, row := range map[string]struct {
		path, body    string
		status        int
		code, pointer string
	}{
		"a whole number with a fraction":  {"tanks", `{"name":"B","height_mm":250.0,"volume_ml":2000,"heater_w":600,"reel_kinds":["spiral-35"]}`, 400, "malformed", "/height_mm"},
		"the same in a list":              {"processes", `{"code":"own","pushes":[{"stops":1,"developing":"PT3M"},{"stops":2.0,"developing":"PT4M"}]}`, 400, "malformed", "/pushes/1/stops"},
		"half of a surrogate pair":        {"members", `{"name":"A\ud800","roles":["member"]}`, 400, "malformed", "/name"},
		"a name of marks nobody sees":     {"members", `{"name":"\u202e\u200b","roles":["member"]}`, 422, "invalid", "/name"},
		"a name on two lines":             {"members", `{"name":"A\u2028B","roles":["member"]}`, 422, "invalid", "/name"},
		"a format named on two lines":     {"formats", format(`A\nB`), 422, "invalid", "/name"},
		"a format that shows no name":     {"formats", format(`\u202e\u200b`), 422, "invalid", "/name"},
		"an instant of 2101 in UTC":       {"sessions", span("2100-12-31T20:00:00-23:00", "2100-12-31T21:00:00-23:00"), 400, "malformed", "/start"},
		"a session decades ahead":         {"sessions", span("2090-01-01T10:00:00Z", "2090-01-01T12:00:00Z"), 422, "invalid", "/end"},
		"a week decades ahead":            {"weeks", `{"week":"2100-W52"}`, 422, "invalid", "/week"},
		"an opening of no length":         {"openings", lasts("PT0S"), 422, "invalid", "/lasts"},
		"an opening of over a day":        {"openings", lasts("PT25H"), 422, "invalid", "/lasts"},
		"a booking in another's session":  {"bookings", `{"session":"` + other.session + `","rolls":["ROLL"]}`, 404, "not-found", "/session"},
		"a booking of another's roll":     {"bookings", `{"session":"SESSION","rolls":["ROLL","` + other.roll + `"]}`, 404, "not-found", "/rolls/1"},
		"a booking in a cancelled one":    {"bookings", `{"session":"CANCELLED","rolls":["ROLL"]}`, 409, "session-cancelled", "/session"},
		"a pin of another's roll":         {"pins", `{"roll":"` + other.roll + `","session":"SESSION"}`, 404, "not-found", "/roll"},
		"a pin to another's session":      {"pins", `{"roll":"ROLL","session":"` + other.session + `"}`, 404, "not-found", "/session"},
		"a pin to a cancelled session":    {"pins", `{"roll":"ROLL","session":"CANCELLED"}`, 409, "session-cancelled", "/session"},
		"a pin where its process is not":  {"pins", `{"roll":"ROLL","session":"ELSEWHERE"}`, 422, "invalid", "/session"},
		"a ban from another's session":    {"bans", `{"roll":"ROLL","session":"` + other.session + `"}`, 404, "not-found", "/session"},
		"a mix of another's kit":          {"bath-sets", `{"kit":"` + other.kit + `"}`, 404, "not-found", "/kit"},
		"an opening of another's tank":    {"openings", `{"rule":"FREQ=WEEKLY;BYDAY=MO","starts":"18:00","lasts":"PT1H","tank":"` + other.tank + `","operator":"ME"}`, 422, "invalid", "/tank"},
		"an opening with another's hands": {"openings", `{"rule":"FREQ=WEEKLY;BYDAY=MO","starts":"18:00","lasts":"PT1H","tank":"TANK","operator":"` + other.MemberID + `"}`, 422, "invalid", "/operator"},
		"a roll for another's member":     {"rolls", `{"format":"135-36","process":"c-41","member":"` + other.MemberID + `"}`, 422, "invalid", "/member"},
	} {
		before := version()
		p := b.For(t).Do(http.MethodPost, b.Path(row.path), b.in(row.body)).WantProblem(row.status, row.code)
		found := false
		for _, f := range p.Errors {
			found = found || f.Pointer == row.pointer
		}
		if !found {
			t.Errorf("%s: want a fault at %s, got %+v", name, row.pointer, p.Errors)
		}
		if after := version(); after != before {
			t.Errorf("%s: was refused, and the lab changed", name)
		}
	}
}

// TestAPinNeedsASessionToCome wants no pin that keeps a roll out of every plan.
func TestAPinNeedsASessionToCome(t *testing.T) {
	t.Parallel()
	b := newBadLab(t, apitest.Start(t), "Sallowmere Film Co-op")
	pin := b.in(`{"roll":"ROLL","session":"SESSION"}`)
	b.At(badNow.AddDate(0, 0, 7)).Do(http.MethodPost, b.Path("pins"), pin).WantProblem(http.StatusConflict, "session-over")
	b.Do(http.MethodPost, b.Path("pins"), pin).Want(http.StatusCreated)
}

// TestAnExpiredKitIsNotMixed follows the refusal to the page that explains it.
func TestAnExpiredKitIsNotMixed(t *testing.T) {
	t.Parallel()
	b := newBadLab(t, apitest.Start(t), "Sallowmere Film Co-op")
	late := b.At(time.Date(2028, 1, 1, 0, 0, 0, 0, time.UTC))
	p := late.Do(http.MethodPost, b.Path("bath-sets"), b.in(`{"kit":"KIT"}`)).WantProblem(http.StatusConflict, "kit-expired")
	b.Get(p.Type).Want(http.StatusOK)
}

func TestRunsAreNotOverBeforeTheirSession(t *testing.T) {
	t.Parallel()
	b := newBadLab(t, apitest.Start(t), "Sallowmere Film Co-op")
	b.Do(http.MethodPost, b.Path("bath-sets"), b.in(`{"kit":"KIT"}`)).Want(http.StatusCreated)
	plan := b.Do(http.MethodPost, b.Path("plans"), `{"from":"2026-11-25T09:00:00Z","until":"2026-11-28T00:00:00Z","budget":"PT0S"}`).Want(http.StatusCreated)
	b.With("If-Match", plan.ETag()).Post(plan.Header("Location")+"/commitment", nil).Want(http.StatusOK)
	batches := apitest.As[lab.List[struct {
		ID string `json:"id"`
	}]](b.Get(b.Path("batches")).Want(http.StatusOK)).Items
	if len(batches) != 1 {
		t.Fatalf("%d batches", len(batches))
	}
	run := b.Path("batches", batches[0].ID, "run")
	late := b.At(badNow.AddDate(0, 0, 2))
	p := late.Do(http.MethodPost, run, `{"outcome":"done","started_at":"2026-11-25T09:10:00Z","ended_at":"2026-11-25T09:40:00Z"}`).
		WantProblem(http.StatusUnprocessableEntity, "invalid")
	if len(p.Errors) != 1 || p.Errors[0].Code != "before-session" || p.Errors[0].Pointer != "/ended_at" {
		t.Errorf("faults are %+v", p.Errors)
	}
	late.Do(http.MethodPost, run, `{"outcome":"done","started_at":"2026-11-26T09:55:00Z","ended_at":"2026-11-26T10:30:00Z"}`).Want(http.StatusCreated)
	// Part of the kit's price is charged, the rest waits: an amount, not a number of kits.
	settled := apitest.As[struct {
		OpenKits int64 `json:"open_kits"`
	}](b.Get(b.Path("settlement")).Want(http.StatusOK))
	if settled.OpenKits != 3750 {
		t.Errorf("open kits hold %d, want 4000 less 4000 × 51613/825808", settled.OpenKits)
	}
}

func TestTimeZonesMeanTheSameEverywhere(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	setup := s.Setup(t)
	for _, zone := range []string{"localtime", "posixrules", "Factory", "posix/Europe/Lisbon", "right/Europe/Lisbon", "Local", "Mars/Phobos"} {
		p := setup.Post("/v1/labs", map[string]string{"name": "Sallowmere Film Co-op", "time_zone": zone, "currency": "EUR", "keeper": "Ines Tarrow"}).
			WantProblem(http.StatusUnprocessableEntity, "no-such-time-zone")
		if len(p.Errors) != 1 || p.Errors[0].Pointer != "/time_zone" {
			t.Errorf("%s: faults are %+v", zone, p.Errors)
		}
	}
}

func TestQueriesThatCannotBeReadAreRefused(t *testing.T) {
	t.Parallel()
	b := newBadLab(t, apitest.Start(t), "Sallowmere Film Co-op")
	for _, query := range []string{"limit=2;status=booked", "status=%zz", ";"} {
		b.Get(b.Path("rolls")+"?"+query).WantProblem(http.StatusBadRequest, "malformed")
	}
}

func TestQueriesAgainstARuleNameTheParameter(t *testing.T) {
	t.Parallel()
	b := newBadLab(t, apitest.Start(t), "Sallowmere Film Co-op")
	length := b.Get(b.Path("formats", "cine-16", "measure")+"?length_mm=1000000").WantProblem(http.StatusUnprocessableEntity, "invalid")
	roll := b.Get(b.Path("sessions")+"?places_for=roll_"+strings.Repeat("0", 32)).WantProblem(http.StatusNotFound, "not-found")
	for name, p := range map[string]apitest.Problem{"length_mm": length, "places_for": roll} {
		if len(p.Errors) != 1 || p.Errors[0].Parameter != name || p.Errors[0].Pointer != "" {
			t.Errorf("%s: faults are %+v", name, p.Errors)
		}
	}
}

func TestIdsAreTheSameHoweverTheyAreEscaped(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	b := newBadLab(t, s, "Sallowmere Film Co-op")
	for spelling, want := range map[string]int{
		"%74" + b.tank[1:]: http.StatusOK,
		b.tank + "%2F":     http.StatusNotFound,
		b.tank + "%00":     http.StatusNotFound,
	} {
		// Past the contract's validator, which compares paths as they are spelt.
		req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, s.URL+b.Path("tanks", spelling), nil)
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("Authorization", "Bearer "+b.Token())
		resp, err := http.DefaultClient.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		_ = resp.Body.Close()
		if resp.StatusCode != want {
			t.Errorf("%s is answered %d, want %d", spelling, resp.StatusCode, want)
		}
	}
}

// TestATooLargeBodyIsNotInvited asks before sending, as Expect lets it.
func TestATooLargeBodyIsNotInvited(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	conn, err := net.Dial("tcp", strings.TrimPrefix(s.URL, "http://"))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close() }()
	_ = conn.SetDeadline(time.Now().Add(10 * time.Second))
	_, err = fmt.Fprintf(conn, "POST %s HTTP/1.1\r\nHost: wetside\r\nAuthorization: Bearer %s\r\nContent-Type: application/json\r\n"+
		"Expect: 100-continue\r\nContent-Length: 2000000\r\n\r\n", keeper.Path("cabinets"), keeper.Token())
	if err != nil {
		t.Fatal(err)
	}
	first, err := bufio.NewReader(conn).ReadString('\n')
	if err != nil || !strings.Contains(first, " 413 ") {
		t.Errorf("the first line of the answer is %q, %v", first, err)
	}
}
