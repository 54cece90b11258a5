package telling_test

import (
	"errors"
	"io"
	"mime"
	"mime/quotedprintable"
	"net"
	"net/mail"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/telling"
)

// postbox is a mail server on loopback that keeps what comes.
type postbox struct {
	mu      sync.Mutex
	letters []*received
	answers []error         // to the next letters, instead of taking them
	took    func(to string) // hears of every letter, unless nil
}

type received struct {
	From, To string
	Header   mail.Header
	Body     string
}

func (p *postbox) NewSession(*smtp.Conn) (smtp.Session, error) { return &delivery{postbox: p}, nil }

type delivery struct {
	*postbox
	from, to string
}

func (d *delivery) Reset()                                      {}
func (d *delivery) Logout() error                               { return nil }
func (d *delivery) Mail(from string, _ *smtp.MailOptions) error { d.from = from; return nil }
func (d *delivery) Rcpt(to string, _ *smtp.RcptOptions) error   { d.to = to; return nil }
func (d *delivery) Data(r io.Reader) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if len(d.answers) > 0 {
		answer := d.answers[0]
		d.answers = d.answers[1:]
		if answer != nil {
			return answer
		}
	}
	m, err := mail.ReadMessage(r)
	if err != nil {
		return err
	}
	body, err := io.ReadAll(m.Body)
	if err != nil {
		return err
	}
	if d.took != nil {
		d.took(d.to)
	}
	d.letters = append(d.letters, &received{d.from, d.to, m.Header, string(body)})
	return nil
}

func (p *postbox) count() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return len(p.letters)
}

// open starts the server and says where it is.
func (p *postbox) open(t *testing.T) string {
	t.Helper()
	s := smtp.NewServer(p)
	s.Domain, s.ErrorLog = "mail.test", silence{}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	go func() { _ = s.Serve(l) }()
	t.Cleanup(func() { _ = s.Close() })
	return l.Addr().String()
}

type silence struct{}

func (silence) Printf(string, ...any) {}
func (silence) Println(...any)        {}

func mailer(t *testing.T, address string) *telling.SMTP {
	t.Helper()
	m, err := telling.NewSMTP("smtp://"+address+"?starttls=never", "Basement lab <lab@example.org>")
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func TestMailArrivesAndIsForgotten(t *testing.T) {
	t.Parallel()
	w, box := newWorkshop(t), &postbox{}
	w.engage(telling.Config{Mailer: mailer(t, box.open(t))})
	w.Must(func(tx pgx.Tx) error {
		return telling.Mail(t.Context(), tx, "lab_1", "ana@example.org", "Vaše místo – ready?", "A place\n.\nis held.\n")
	})
	w.Until("the mail to be sent", func() bool { return w.All(`SELECT count(*)::text FROM mails`)[0] == "0" })
	if box.count() != 1 {
		t.Fatalf("%d letters came", box.count())
	}
	got := box.letters[0]
	subject, err := new(mime.WordDecoder).DecodeHeader(got.Header.Get("Subject"))
	if err != nil || subject != "Vaše místo – ready?" {
		t.Errorf("subject %q, %v", subject, err)
	}
	if got.From != "lab@example.org" || got.To != "ana@example.org" || got.Header.Get("Auto-Submitted") != "auto-generated" {
		t.Errorf("from %s to %s: %v", got.From, got.To, got.Header)
	}
	if !strings.Contains(got.Body, "A place\r\n.\r\nis held.") {
		t.Errorf("body %q", got.Body)
	}
	if id := got.Header.Get("Message-Id"); !strings.HasPrefix(id, "<mail_") || !strings.HasSuffix(id, "@example.org>") {
		t.Errorf("Message-ID %q", id)
	}
}

func TestMailIsGivenUpWhenRejected(t *testing.T) {
	t.Parallel()
	w, box := newWorkshop(t), &postbox{answers: []error{&smtp.SMTPError{Code: 550, EnhancedCode: smtp.EnhancedCode{5, 1, 1}, Message: "no such ana@example.org"}}}
	w.engage(telling.Config{Mailer: mailer(t, box.open(t))})
	w.Must(func(tx pgx.Tx) error {
		return telling.Mail(t.Context(), tx, "lab_1", "ana@example.org", "Hello", "Hello.")
	})
	w.Until("the mail to be given up", func() bool {
		return w.All(`SELECT count(*)::text FROM river_job WHERE kind = 'mail' AND state = 'cancelled'`)[0] == "1"
	})
	if left := w.All(`SELECT subject FROM mails`); len(left) != 0 || box.count() != 0 {
		t.Errorf("left %v, %d came", left, box.count())
	}
	if said := w.All(`SELECT errors::text FROM river_job WHERE kind = 'mail'`); strings.Contains(said[0], "ana") {
		t.Errorf("the job keeps the address: %s", said[0])
	}
}

func TestMailIsTriedAgain(t *testing.T) {
	t.Parallel()
	w, box := newWorkshop(t), &postbox{answers: []error{&smtp.SMTPError{Code: 451, EnhancedCode: smtp.EnhancedCode{4, 7, 1}, Message: "come again, ana@example.org"}}}
	w.engage(telling.Config{Mailer: mailer(t, box.open(t))})
	w.Must(func(tx pgx.Tx) error {
		return telling.Mail(t.Context(), tx, "lab_1", "ana@example.org", "Hello", "Hello.")
	})
	w.Until("the mail to be put off", func() bool {
		return w.All(`SELECT count(*)::text FROM river_job WHERE kind = 'mail' AND state = 'retryable' AND scheduled_at BETWEEN now() + interval '50 s' AND now() + interval '67 s'`)[0] == "1"
	})
	if said := w.All(`SELECT errors::text FROM river_job WHERE kind = 'mail'`); strings.Contains(said[0], "ana") {
		t.Errorf("the job keeps the address: %s", said[0])
	}
	w.All(`UPDATE river_job SET state = 'available', scheduled_at = now() WHERE kind = 'mail' RETURNING kind`) // as in a minute
	w.Until("the mail to be sent", func() bool { return box.count() == 1 })
}

// Nothing in a subject or an address becomes a header of its own.
func TestNoHeaderIsInjected(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	for _, to := range []string{
		"ana@example.org\r\nBcc: eve@example.org", "ana@example.org, eve@example.org", "Ana <ana@example.org>",
		"ana", "ana@", "", "ana@example.org\n", "ana@exa\x00mple.org", strings.Repeat("a", 250) + "@example.org",
	} {
		err := w.InTx(func(tx pgx.Tx) error { return telling.Mail(t.Context(), tx, "lab_1", to, "Hello", "Hello.") })
		if lab.RefusalCode(err) != "invalid" {
			t.Errorf("mail to %q: %v", to, err)
		}
	}
	if err := w.InTx(func(tx pgx.Tx) error {
		return telling.Mail(t.Context(), tx, "lab_1", "ana@example.org", "Hello\r\nBcc: eve@example.org", "Hello.")
	}); err == nil {
		t.Error("a subject of two lines is taken")
	}
	box := &postbox{}
	m := mailer(t, box.open(t))
	l := telling.Letter{ID: "mail_1", To: "ana@example.org", Subject: "a\r\nBcc: eve@example.org\r\n\r\nbody", Text: "Hello.", At: time.Now()}
	if err := m.Send(t.Context(), l); err == nil {
		if got := box.letters[0]; got.Header.Get("Bcc") != "" || strings.Contains(got.Body, "Bcc") || got.To != l.To {
			t.Errorf("the mailer lets a header in: %v %q", got.Header, got.Body)
		}
	}
}

func TestMailNeedsAnEncryptedWay(t *testing.T) {
	t.Parallel()
	box := &postbox{}
	address := box.open(t) // which offers no STARTTLS
	m, err := telling.NewSMTP("smtp://ana:secret@"+address, "lab@example.org")
	if err != nil {
		t.Fatal(err)
	}
	err = m.Send(t.Context(), telling.Letter{ID: "mail_1", To: "ana@example.org", Subject: "Hello", Text: "Hello.", At: time.Now()})
	if err == nil || errors.Is(err, telling.ErrRejected) || box.count() != 0 {
		t.Errorf("sent in the clear: %v, %d came", err, box.count())
	}
	for _, bad := range []string{
		"smtp://mail.example.org?starttls=never", "http://mail.example.org", "smtp://", "mail.example.org:25", "smtp://mail.example.org/x", "smtp://h:port",
	} {
		if _, err := telling.NewSMTP(bad, "lab@example.org"); err == nil {
			t.Errorf("%s is taken", bad)
		}
	}
	if _, err := telling.NewSMTP("smtp://mail.example.org", "lab"); err == nil {
		t.Error("a sender without an address is taken")
	}
}

// A notice is mailed to who has an address and wishes so, in its own words.
func TestNoticesAreMailed(t *testing.T) {
	t.Parallel()
	w, box := newWorkshop(t), &postbox{}
	w.engage(telling.Config{Mailer: mailer(t, box.open(t))})
	w.All(`UPDATE members SET email = id || '@example.org' WHERE id IN ('ann', 'bea', 'cal') RETURNING id`)
	wish := func(member string, mail bool) {
		s := w.Scope
		s.By.ID = member
		w.Must(func(tx pgx.Tx) error {
			_, err := telling.Choose(t.Context(), tx, s, telling.PlaceOffered, telling.WishChange{Message: true, Mail: mail})
			return err
		})
	}
	wish("bea", false)
	w.Must(func(tx pgx.Tx) error {
		return telling.Tell(t.Context(), tx, w.Scope, offered("ann", "bea", "cal", "dov"))
	})
	w.Until("the mail", func() bool { return box.count() == 1 && len(w.All(`SELECT id FROM mails`)) == 0 })
	got := box.letters[0]
	subject, err := new(mime.WordDecoder).DecodeHeader(got.Header.Get("Subject"))
	if got.To != "ann@example.org" || err != nil || subject != "There is a place for you – Basement" {
		t.Errorf("to %s: %q, %v", got.To, subject, err)
	}
	body, err := io.ReadAll(quotedprintable.NewReader(strings.NewReader(got.Body)))
	if err != nil || !strings.Contains(string(body), "is yours if you accept it by Sunday, 12:00.") {
		t.Errorf("%v: %s", err, body)
	}
	wish("bea", true)
	w.Must(func(tx pgx.Tx) error { return telling.Tell(t.Context(), tx, w.Scope, offered("dov")) }) // bea's guest
	w.Until("another mail", func() bool { return box.count() == 2 })
	if to := box.letters[1].To; to != "bea@example.org" {
		t.Errorf("a guest's notice went to %s", to)
	}
}
