package demo

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"time"

	"wetside/chemistry/shares"
	"wetside/lab"
	"wetside/scheduling"
)

// Options say where the story is told, and when.
type Options struct {
	// URL is the server's, without a slash at its end.
	URL string
	// SetupCode is the installation's.
	SetupCode string
	// HTTP makes the calls; nil is the default client.
	HTTP *http.Client
	// Now is what the coming week comes after.
	Now time.Time
	// Log gets a line for each part of the story; nil gets none.
	Log io.Writer
	// Iterations bounds how many steps each plan is improved by; 0 stands for 2,500, after
	// which the demo's weeks get no better.
	Iterations int64
	// Save is a folder that Run writes the week's problem and plan into; "" saves nothing.
	Save string
}

// usualIterations is what Iterations is unless given.
const usualIterations = 2500

func (o Options) client() *client {
	h := o.HTTP
	if h == nil {
		h = &http.Client{Timeout: time.Minute}
	}
	return &client{http: h, url: strings.TrimSuffix(o.URL, "/"), clock: &clock{}}
}

// Told is what happened on the way, as far as it can only be seen then.
type Told struct {
	// Lab is the co-op, Monday the first day of the coming week, and People,
	// Kits and Rolls the ids of what the data calls by keys.
	Lab                 string
	Monday              time.Time
	People, Kits, Rolls map[string]string
	// Bookings are ids by who made them, of the week after.
	Bookings             map[string]string
	Refusals             []Refusal
	Places               []scheduling.OpenSession
	First, Second, Final scheduling.Plan
	// FirstClosing is the kit's by its first rule, which was reversed; Closing is what holds.
	FirstClosing, Closing shares.ClosingAnswer
	Runs                  []scheduling.Run
	// Drying and Ready are what rolls were seen as after their run, and once dry.
	Drying, Ready []scheduling.Roll
	// Plans are all that were made, in order.
	Plans []scheduling.Plan
	// After is what comes of the week after, Repair the plan made when a tank broke down.
	After  After
	Repair scheduling.Plan
	// People sign in with these tokens while they last.
	Tokens map[string]string
}

// A Refusal is a no that the story brings about, and to whom.
type Refusal struct {
	At        time.Time
	Who, What string
	Problem   *Problem
}

// A person is a member, as a client.
type person struct {
	*client
	id, name string
}

// A story is the telling: the data, the server, and what has come of both.
type story struct {
	*data
	cal    calendar
	setup  *client
	lab    lab.Lab
	people map[string]person
	tanks  map[string]string
	// openings have the ids of those that the data calls by keys, replaced the
	// batches that a repaired plan took apart.
	openings map[string]string
	replaced map[string]bool
	spoil    map[string]string // by roll, what goes wrong
	diary    diary
	told     *Told
	log      io.Writer
	// iterations bounds how many steps each plan is improved by.
	iterations int64
}

// Play tells the story to a server that has not heard it. It fails with a
// *Problem in its chain at the first call that is answered otherwise than the
// story needs.
func Play(ctx context.Context, o Options) (*Told, error) {
	d, err := read()
	if err != nil {
		return nil, err
	}
	zone, err := time.LoadLocation(d.coop.Lab["time_zone"].(string))
	if err != nil {
		return nil, err
	}
	s := &story{
		data: d, cal: newCalendar(o.Now, zone), setup: o.client(), log: o.Log, iterations: cmp.Or(o.Iterations, usualIterations),
		people: map[string]person{}, tanks: map[string]string{}, openings: map[string]string{}, replaced: map[string]bool{}, spoil: map[string]string{},
		told: &Told{Kits: map[string]string{}, Rolls: map[string]string{}, People: map[string]string{}, Tokens: map[string]string{}, Bookings: map[string]string{}},
	}
	if s.log == nil {
		s.log = io.Discard
	}
	s.told.Monday = s.cal.monday
	if s.setup.token, err = s.setup.signIn(ctx, o.SetupCode); err != nil {
		return nil, fmt.Errorf("sign in with the setup code: %w", err)
	}
	for _, part := range []func() error{s.beginning, s.chemistry, s.weeksBefore, s.comingWeek, s.weekAfter} {
		if err := part(); err != nil {
			return nil, err
		}
	}
	err = s.diary.live(ctx, s.setup.clock)
	return s.told, err
}

// when enters something in the diary at one of the data's dates.
func (s *story) when(date, what string, do func(ctx context.Context) error) error {
	at, err := s.cal.at(date)
	if err != nil {
		return err
	}
	s.diary.add(at, what, do)
	return nil
}

// say writes a line of progress.
func (s *story) say(format string, args ...any) {
	fmt.Fprintf(s.log, "%s  %s\n", s.setup.clock.now.In(s.cal.monday.Location()).Format("Mon _2 Jan 15:04"), fmt.Sprintf(format, args...))
}

// in is a path in the lab.
func (s *story) in(parts ...string) string {
	return "/v1/labs/" + s.lab.ID + "/" + strings.Join(parts, "/")
}

// expect checks that a call was refused, for all the reasons named, and keeps
// the refusal; err is what the call came to.
func (s *story) expect(err error, who, what string, status int, reasons ...string) error {
	var p *Problem
	if err == nil {
		return fmt.Errorf("%s: %s was to be refused and was not", who, what)
	}
	if !errors.As(err, &p) || p.Status != status {
		return err
	}
	for _, code := range reasons {
		if !p.Has(code) && p.Code != code {
			return fmt.Errorf("the refusal gives no reason %q: %w", code, err)
		}
	}
	s.told.Refusals = append(s.told.Refusals, Refusal{At: s.setup.clock.now, Who: who, What: what, Problem: p})
	s.say("%s is told no: %s", who, what)
	return nil
}
