package loadtest

import (
	"bytes"
	"cmp"
	"crypto/rand"
	"encoding/json"
	"fmt"
	"math"
	mrand "math/rand/v2"
	"net/http"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/anishathalye/porcupine"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"wetside/deploy/load/labs"
	"wetside/lab"
	"wetside/lab/database"
	"wetside/scheduling"
)

// A game is a team's time with one lab.
type game struct {
	r   *recorder
	s   *servers
	l   *labs.Lab
	web *http.Client

	left, minute atomic.Int64
	mu           sync.Mutex
	known        map[string]string // roll → its booking, as somebody heard last
}

// signIn gets somebody a token, by another code as long as no answer comes.
func (g *game) signIn(t *testing.T, pool *pgxpool.Pool, p *labs.Person) {
	random := mrand.New(mrand.NewPCG(3, 3))
	for range 100 {
		var code lab.SignInCode
		err := pgx.BeginFunc(t.Context(), pool, func(tx pgx.Tx) (err error) {
			if err := database.InLab(t.Context(), tx, g.l.ID); err != nil {
				return err
			}
			code, err = lab.NewSignInCode(t.Context(), tx, g.l.ID, p.Scope.By.ID, nil, time.Now(), rand.Reader)
			return err
		})
		if err != nil {
			t.Error(err)
			return
		}
		body, _ := json.Marshal(map[string]string{"code": code.Code})
		resp, err := g.web.Post(g.s.url(random)+"/v1/tokens", "application/json", bytes.NewReader(body))
		if err != nil {
			continue
		}
		var got struct {
			AccessToken string `json:"access_token"`
		}
		_ = json.NewDecoder(resp.Body).Decode(&got) // tried again if there is none
		_ = resp.Body.Close()
		if p.Token = got.AccessToken; p.Token != "" {
			return
		}
	}
	t.Error("nobody can sign in")
}

// client does one thing after another, and notes each.
func (g *game) client(t *testing.T, id int, random *mrand.Rand) {
	for g.left.Add(-1) >= 0 && !t.Failed() {
		in, by := g.choose(random)
		call := time.Since(g.r.start).Nanoseconds()
		out := g.do(t, in, by, random)
		ended := time.Since(g.r.start).Nanoseconds()
		if out.unknown {
			ended = math.MaxInt64
		}
		g.r.mu.Lock()
		g.r.ops = append(g.r.ops, porcupine.Operation{ClientId: id, Input: in, Call: call, Output: out, Return: ended})
		g.r.mu.Unlock()
	}
}

// choose is what to do next, and as whom. The lab's clock goes on a little now
// and then; one in ten clients has one that is behind.
func (g *game) choose(random *mrand.Rand) (input, *labs.Person) {
	if random.IntN(20) == 0 {
		g.minute.Add(1 + random.Int64N(10))
	}
	minute := g.minute.Load()
	if random.IntN(10) == 0 {
		minute = max(minute-random.Int64N(30), 0)
	}
	by := g.l.Members[random.IntN(len(g.l.Members))]
	in := input{lab: g.l.ID, roll: by.Rolls[random.IntN(len(by.Rolls))], session: g.l.Sessions[random.IntN(len(g.l.Sessions))],
		at: today.Add(time.Duration(minute) * time.Minute)}
	g.mu.Lock()
	booking := g.known[in.roll]
	g.mu.Unlock()
	switch n := random.IntN(100); {
	case n < 10:
		in.action = list
		return in, g.l.Steward
	case booking == "" || n < 35:
		in.action = []action{hold, hold, book}[random.IntN(3)]
		return in, by
	case n < 50:
		in.action = confirm
	case n < 80:
		in.action = move
	default:
		in.action = cancel
	}
	in.booking = booking
	return in, by
}

// request is how an input is asked for.
func (in input) request(key string) asked {
	a := asked{method: http.MethodPost, path: "/bookings/" + in.booking, at: in.at, key: key, any: true}
	switch in.action {
	case hold, book:
		a.path, a.any = "/bookings", false
		a.body = map[string]any{"session": in.session, "rolls": []string{in.roll}, "hold": in.action == hold}
	case confirm:
		a.path += "/confirmation"
	case cancel:
		a.path += "/cancellation"
	case move:
		a.method, a.key, a.body = http.MethodPatch, "", map[string]any{"session": in.session}
	case list:
		return asked{method: http.MethodGet, path: "/bookings?limit=200&session=" + in.session, at: in.at}
	}
	return a
}

// do asks until an answer comes, with one Idempotency-Key, or gives up: then the
// outcome is unknown. Where somebody else changed the booking between its reading
// and its change (412), nothing was done, and it is asked for anew.
func (g *game) do(t *testing.T, in input, by *labs.Person, random *mrand.Rand) output {
	key := fmt.Sprintf("%x", random.Uint64())
	for try := 0; ; try++ {
		status, header, body := send(t.Context(), g.web, g.s.url(random), g.l.ID, by.Token, in.request(key))
		code := codeOf(body)
		if status >= 400 {
			g.r.count(fmt.Sprintf("%d %s", status, code))
		}
		switch {
		case status == 0 || status >= 500:
			g.r.unanswered.Add(1)
			// A change without a key is not asked for twice: it might be made twice.
			if in.action == move || in.action != list && random.IntN(10) == 0 {
				g.r.unknown.Add(1)
				return output{unknown: true}
			}
			if try > 1000 {
				t.Errorf("%s is not answered: %d %s", in.action, status, body)
				return output{unknown: true}
			}
			g.r.again.Add(1)
			time.Sleep(time.Duration(random.IntN(20)) * time.Millisecond)
		case status == http.StatusPreconditionFailed:
			key = fmt.Sprintf("%x", random.Uint64())
		default:
			g.r.answers.Add(1)
			if header.Get("Idempotency-Replayed") == "true" {
				g.r.replayed.Add(1)
			}
			return g.read(t, in, status, code, body)
		}
	}
}

// read makes an output of an answer.
func (g *game) read(t *testing.T, in input, status int, code string, body []byte) output {
	switch {
	case status == http.StatusConflict:
		return output{code: code}
	case status >= 300:
		t.Errorf("%+v: answered %d %s", in, status, body)
		return output{unknown: true}
	case in.action == list:
		return output{listed: g.places(t, body)}
	}
	var b scheduling.Booking
	if err := json.Unmarshal(body, &b); err != nil {
		t.Error(err)
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	g.known[in.roll] = b.ID
	return output{booking: b.ID}
}

// places are the bookings of a list that hold one, by roll.
func (g *game) places(t *testing.T, body []byte) []place {
	var page struct {
		Items      []scheduling.Booking
		NextCursor string `json:"next_cursor"`
	}
	if err := json.Unmarshal(body, &page); err != nil || page.NextCursor != "" {
		t.Errorf("a list that cannot be read, or goes on: %v", err)
	}
	var out []place
	for _, b := range page.Items {
		p := place{roll: b.Rolls[0], booking: b.ID, session: b.Session}
		switch b.Status {
		case scheduling.Held:
			p.held = *b.HeldUntil
		case scheduling.Confirmed:
		default:
			continue
		}
		g.mu.Lock()
		g.known[p.roll] = p.booking
		g.mu.Unlock()
		out = append(out, p)
	}
	slices.SortFunc(out, func(a, b place) int { return cmp.Compare(a.roll, b.roll) })
	return out
}

// count counts a problem by its code.
func (r *recorder) count(code string) {
	n, _ := r.codes.LoadOrStore(code, new(atomic.Int64))
	n.(*atomic.Int64).Add(1)
}
