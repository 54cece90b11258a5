package api_test

import (
	"context"
	"crypto/rand"
	"log/slog"
	"net/http"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"wetside/api"
	"wetside/api/apitest"
	"wetside/lab"
	"wetside/lab/database"
	"wetside/lab/jobs"
	"wetside/lab/signin"
	"wetside/lab/telling"
)

// A postbox takes letters instead of a mail server.
type postbox struct {
	mu      sync.Mutex
	letters []telling.Letter
}

func (p *postbox) Send(_ context.Context, l telling.Letter) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.letters = append(p.letters, l)
	return nil
}

// to are the letters for an address.
func (p *postbox) to(email string) (mine []telling.Letter) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, l := range p.letters {
		if l.To == email {
			mine = append(mine, l)
		}
	}
	return mine
}

const signInPage = "https://coop.example.org/enter"

// startMailing starts a server whose jobs run, and whose mail goes to a postbox.
func startMailing(t *testing.T) (*apitest.Server, *postbox) {
	t.Helper()
	s := apitest.Start(t, func(c *api.Config) { c.Mails, c.SignInPage = true, signInPage })
	return s, startJobs(t, s)
}

// startJobs has a server's jobs done, and gives the postbox for its mail.
func startJobs(t *testing.T, s *apitest.Server) *postbox {
	t.Helper()
	box := &postbox{}
	works := append(telling.Works(telling.Config{Mailer: box}), signin.Works(signInPage, rand.Reader)...)
	engine, err := jobs.New(jobs.Config{Pool: s.Pool, Store: database.NewStore(s.Pool, nil), Log: slog.New(slog.DiscardHandler), Workers: 2}, works...)
	if err != nil {
		t.Fatal(err)
	}
	if err := engine.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := engine.Stop(context.Background()); err != nil {
			t.Error(err)
		}
	})
	return box
}

var (
	codeInMail       = regexp.MustCompile(`Code: ([0-9a-z-]{29})\n`)
	invitationInMail = regexp.MustCompile(`Invitation: (wetside-invitation-[\w-]{43})\n`)
)

func TestCodesByMail(t *testing.T) {
	t.Parallel()
	s, box := startMailing(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	email := "bram@example.org"
	// The invitation's secret is in the mail alone.
	i := apitest.As[signin.Invitation](keeper.Post(keeper.Path("invitations"), lab.NewMember{Name: "Bram Quillon", Roles: []lab.Role{lab.RoleMember}, Email: &email}).Want(http.StatusCreated))
	if i.Secret != "" {
		t.Error("the secret is shown although it is mailed")
	}
	within(t, "the invitation", func() bool { return len(box.to(email)) == 1 })
	letter := box.to(email)[0]
	found := invitationInMail.FindStringSubmatch(letter.Text)
	if found == nil || !strings.Contains(letter.Text, signInPage+"#lab="+keeper.LabID+"&invitation="+found[1]) || !strings.Contains(letter.Subject, "Sallowmere") {
		t.Fatalf("the letter is %+v", letter)
	}
	bram := apitest.As[tokens](s.Anyone(t).Post(keeper.Path("acceptances"), map[string]string{"secret": found[1]}).Want(http.StatusCreated))

	ask := func(email string) *apitest.Response {
		return s.Anyone(t).Post(keeper.Path("mailed-codes"), map[string]string{"email": email}).Want(http.StatusAccepted)
	}
	known, unknown := ask("Bram@Example.org"), ask("nobody@example.org")
	if string(known.Body) != string(unknown.Body) || known.Header("Content-Length") != unknown.Header("Content-Length") {
		t.Errorf("a member's address is answered %q, nobody's %q", known.Body, unknown.Body)
	}
	within(t, "the code", func() bool { return len(box.to(email)) == 2 })
	code := codeInMail.FindStringSubmatch(box.to(email)[1].Text)
	if code == nil {
		t.Fatalf("the letter is %+v", box.to(email)[1])
	}
	trade := func(s *apitest.Server, code string) *apitest.Response {
		return s.Anyone(t).Post("/v1/tokens", map[string]string{"code": code})
	}
	trade(later(t, s, 16*time.Minute), code[1]).WantProblem(http.StatusUnauthorized, "unauthenticated")
	if _, err := s.Pool.Exec(t.Context(), `UPDATE members SET email_claimed = true WHERE id = $1`, bram.Member); err != nil {
		t.Fatal(err)
	}
	got := apitest.As[tokens](trade(s, code[1]).Want(http.StatusOK))
	var claimed bool // a code that came back shows that the address is theirs
	if err := s.Pool.QueryRow(t.Context(), `SELECT email_claimed FROM members WHERE id = $1`, bram.Member).Scan(&claimed); err != nil || claimed {
		t.Errorf("the address is still no more than claimed, %v", err)
	}
	if got.Member != bram.Member {
		t.Errorf("signed in as %s", got.Member)
	}
	list := apitest.As[lab.List[signin.SignIn]](asking(s, t, got).Get(keeper.Path("members", got.Member, "sign-ins")).Want(http.StatusOK))
	if list.Items[0].Method != signin.ByMail {
		t.Errorf("signed in by %s", list.Items[0].Method)
	}
	trade(s, code[1]).WantProblem(http.StatusUnauthorized, "unauthenticated")

	// A mailbox is not filled: three codes in a quarter of an hour, however many ask.
	for range 6 {
		ask(email)
	}
	waiting := func() (n int) {
		if err := s.Pool.QueryRow(t.Context(), `SELECT count(*) FROM code_requests`).Scan(&n); err != nil {
			t.Error(err)
		}
		return n
	}
	within(t, "all requests to be looked into", func() bool { return waiting() == 0 && len(box.to(email)) == 4 })
	if n := len(box.to("nobody@example.org")); n != 0 {
		t.Errorf("nobody was mailed %d times", n)
	}
	// A code of an address that is the member's no more does not work.
	moved := codeInMail.FindStringSubmatch(box.to(email)[3].Text)
	path := keeper.Path("members", bram.Member)
	keeper.Patch(path, keeper.Get(path).ETag(), map[string]string{"email": "new@example.org"}).Want(http.StatusOK)
	trade(s, moved[1]).WantProblem(http.StatusUnauthorized, "unauthenticated")

	var kept int // neither code nor invitation stays in the clear once the mail is out
	err := s.Pool.QueryRow(t.Context(), `SELECT count(*) FROM mails`).Scan(&kept)
	if err != nil || kept != 0 {
		t.Errorf("%d mails are kept, %v", kept, err)
	}
}

func TestCodesByMailWithoutMail(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	s.Anyone(t).Post(keeper.Path("mailed-codes"), map[string]string{"email": "bram@example.org"}).WantProblem(http.StatusConflict, "no-mail")
}
