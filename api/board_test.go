package api_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"wetside/api"
	"wetside/api/apitest"
	"wetside/lab"
	"wetside/lab/units"
	"wetside/scheduling"
)

// wall is a lab with a tank, its keeper, and a session to come.
type wall struct {
	*apitest.Server
	keeper, member *apitest.Client
	tank           string
	day            time.Time
}

func newWall(t *testing.T, change ...func(*api.Config)) *wall {
	t.Helper()
	w := &wall{Server: apitest.Start(t, change...), day: time.Now().UTC().Truncate(time.Hour).Add(48 * time.Hour)}
	founder := w.Found(t, "Basement")
	w.keeper = w.Join(t, founder, "Ada Lowe", lab.RoleSteward, lab.RoleKeeper)
	w.member = w.Join(t, w.keeper, "Bea Stroud")
	var tank struct{ ID string }
	w.keeper.Post(w.keeper.Path("reel-kinds"), map[string]any{"code": "spiral-35", "name": "35 mm spiral", "count": 2,
		"height_mm": 40, "solution_ml": 300}).Want(201)
	w.keeper.Post(w.keeper.Path("tanks"), map[string]any{"name": "Tall", "height_mm": 200, "volume_ml": 2000,
		"heater_w": 500, "reel_kinds": []string{"spiral-35"}}).Want(201).Into(&tank)
	w.tank = tank.ID
	w.open(t, 0)
	return w
}

// open adds a session so many days after the first.
func (w *wall) open(t *testing.T, day int) {
	t.Helper()
	start := w.day.AddDate(0, 0, day)
	w.keeper.Post(w.keeper.Path("sessions"), map[string]any{"tank": w.tank, "start": start, "end": start.Add(3 * time.Hour),
		"operator": w.keeper.MemberID, "processes": []string{}}).Want(201)
}

func boardOf(t *testing.T, e apitest.Event) scheduling.Board {
	t.Helper()
	var b scheduling.Board
	if err := json.Unmarshal([]byte(e.Data), &b); err != nil || e.Name != "board" || e.ID != fmt.Sprint(b.ScheduleVersion) {
		t.Fatalf("event %+v: %v", e, err)
	}
	return b
}

func TestTheBoardIsLive(t *testing.T) {
	t.Parallel()
	w := newWall(t)
	listening := w.member.Listen(w.member.Path("board", "events"))
	first, _ := listening.Next()
	if b := boardOf(t, first); len(b.Sessions) != 1 || b.Sessions[0].Tank != w.tank {
		t.Errorf("the board at first: %s", first.Data)
	}
	w.open(t, 1)
	second, _ := listening.Next()
	if b := boardOf(t, second); len(b.Sessions) != 2 {
		t.Errorf("the board after a session was added: %s", second.Data)
	}
	var read scheduling.Board
	w.member.Get(w.member.Path("board")).Want(200).Into(&read)
	if text, err := json.Marshal(read); err != nil || string(text) != second.Data {
		t.Errorf("read %s, told %s, %v", text, second.Data, err)
	}
	for _, personal := range []string{"Bea", "Ada", "member_", "roll_"} {
		if strings.Contains(second.Data, personal) {
			t.Errorf("the board says %s", personal)
		}
	}
	// Who comes again with the last event's id is told what has changed since, and nothing twice.
	listening.Close()
	again := w.member.With("Last-Event-ID", second.ID).Listen(w.member.Path("board", "events"))
	w.open(t, 2)
	if next, _ := again.Next(); len(boardOf(t, next).Sessions) != 3 {
		t.Errorf("told after coming again: %s", next.Data)
	}
}

func TestAStreamIsKeptAlive(t *testing.T) {
	t.Parallel()
	w := newWall(t)
	w.API.BeatForTest(20 * time.Millisecond)
	listening := w.member.Listen(w.member.Path("board", "events"))
	listening.Next()
	for range 3 {
		if e, ok := listening.Any(); !ok || e != (apitest.Event{}) {
			t.Fatalf("want a comment, got %+v, %t", e, ok)
		}
	}
	listening.Close()
	for deadline := time.Now().Add(10 * time.Second); w.API.Streams() > 0; time.Sleep(5 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("the stream is open although nobody listens")
		}
	}
}

func TestStreamsEndWhenTheServerStops(t *testing.T) {
	t.Parallel()
	w := newWall(t)
	listening := w.member.Listen(w.member.Path("board", "events"))
	listening.Next()
	w.API.Drain()
	if e, ok := listening.Next(); ok {
		t.Errorf("told %+v after the end", e)
	}
}

func TestStreamsEndWithTheirToken(t *testing.T) {
	t.Parallel()
	w := newWall(t, func(c *api.Config) { c.TokenLifetime = units.Second * 2 })
	listening := w.member.Listen(w.member.Path("board", "events"))
	listening.Next()
	begun := time.Now()
	if e, ok := listening.Next(); ok || time.Since(begun) > 5*time.Second {
		t.Errorf("told %+v, %t, %s after the token was issued", e, ok, time.Since(begun))
	}
}

func TestAMemberWhoLeavesHearsNoMore(t *testing.T) {
	t.Parallel()
	w := newWall(t)
	listening := w.member.Listen(w.member.Path("board", "events"))
	listening.Next()
	w.keeper.Post(w.keeper.Path("members", w.member.MemberID, "departure"), nil).Want(200)
	w.open(t, 1)
	e, ok := listening.Next()
	if !ok || e.Name != "problem" || !strings.Contains(e.Data, `"unauthenticated"`) {
		t.Errorf("told %+v, %t", e, ok)
	}
	if e, ok := listening.Next(); ok {
		t.Errorf("told %+v after the end", e)
	}
}

// A stream ends with the sign-in that it came by, with no change to wait for,
// and others' go on.
func TestStreamsEndWithTheirSignIn(t *testing.T) {
	t.Parallel()
	w := newWall(t)
	path := w.member.Path("board", "events")
	for name, end := range map[string]func(c *apitest.Client){
		"sign-out": func(c *apitest.Client) { c.Do(http.MethodDelete, c.Path("sign-in"), nil).Want(204) },
		"everywhere": func(c *apitest.Client) {
			c.Do(http.MethodDelete, c.Path("members", c.MemberID, "sign-ins"), nil).Want(204)
		},
		"departure": func(c *apitest.Client) { w.keeper.Post(c.Path("members", c.MemberID, "departure"), nil).Want(200) },
	} {
		leaving := w.Join(t, w.keeper, "Cyd "+name)
		ends, stays := leaving.Listen(path), w.member.Listen(path)
		ends.Next()
		stays.Next()
		end(leaving)
		begun := time.Now()
		if e, ok := ends.Next(); !ok || e.Name != "problem" || !strings.Contains(e.Data, `"unauthenticated"`) {
			t.Errorf("%s: told %+v, %t", name, e, ok)
		}
		if e, ok := ends.Next(); ok || time.Since(begun) > 10*time.Second {
			t.Errorf("%s: told %+v, %t, after %s", name, e, ok, time.Since(begun))
		}
		w.open(t, 1+len(name))
		if e, ok := stays.Next(); !ok || e.Name != "board" {
			t.Errorf("%s: another's stream is told %+v, %t", name, e, ok)
		}
		stays.Close()
	}
}

func TestAMemberHasAFewStreamsAtATime(t *testing.T) {
	t.Parallel()
	w := newWall(t)
	path := w.member.Path("board", "events")
	var open []*apitest.Listening
	for range 5 {
		open = append(open, w.member.Listen(path))
	}
	w.member.Get(path).WantProblem(429, "too-many-streams")
	w.keeper.Listen(path) // others have their own
	open[0].Close()
	for deadline := time.Now().Add(10 * time.Second); w.member.Do(http.MethodGet, path, nil).Status != 200; time.Sleep(5 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("no stream although one was closed")
		}
	}
}

// A stream is asked for like anything else: its refusals are problems, and HEAD
// answers as GET would begin.
func TestStreamsAreRefusedAsProblems(t *testing.T) {
	t.Parallel()
	w := newWall(t)
	path := w.member.Path("board", "events")
	w.Anyone(t).Get(path).WantProblem(401, "unauthenticated")
	w.member.Get("/v1/labs/lab_00000000000000000000000000000000/board/events").WantProblem(404, "not-found")
	w.member.Get(path+"?x=1").WantProblem(400, "malformed")
	if got := w.member.Do(http.MethodHead, path, nil); got.Status != 200 {
		t.Errorf("HEAD is answered %d", got.Status)
	}
	other := w.Found(t, "Attic")
	other.Get(path).WantProblem(404, "not-found")
}
