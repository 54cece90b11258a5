package api

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/database"
)

// A call is one request on its way through the gates.
type call struct {
	api   *API
	op    operation
	shape *shape
	http  *http.Request
	who   claims
	raw   []byte // the body as it came
	body  any    // the body parsed
	wrong error  // what is wrong with path, query or body
	clock time.Time
	now   time.Time
	req   Request
}

// usualTime caps the time of a request unless its operation says otherwise.
const usualTime = 15 * time.Second

// serve takes a request through all gates and writes the answer. It returns
// an error if none was written.
func (a *API) serve(op operation, w http.ResponseWriter, r *http.Request, path map[string]string) error {
	limit := op.Within
	if limit == 0 {
		limit = usualTime
	}
	ctx, cancel := context.WithTimeout(r.Context(), limit)
	defer cancel()
	c := &call{api: a, op: op, shape: a.contract.shapes[op.ID], http: r, clock: instant(a.clock())}
	if err := c.authenticate(ctx); err != nil {
		return err
	}
	if c.who.Subject != "" {
		if err := limited(w, a.quotas.member.take(c.who.Lab+"/"+c.who.Subject, c.clock)); err != nil {
			return err
		}
	}
	// The body is read before a transaction begins: a slow sender must not
	// hold a connection, let alone a lock.
	if err := c.receive(w, path); err != nil {
		return err
	}
	if op.Within > 0 {
		leave, err := a.enter(ctx, c.who.Lab)
		if err != nil {
			return err
		}
		defer leave()
	}
	if op.streams(r) {
		if op.Within == 0 {
			ctx = r.Context() // it lasts as long as the caller listens
		}
		return c.named(c.stream(ctx, w))
	}
	if op.writes() && op.Within == 0 && c.who.Lab != "" {
		leave, err := a.turns.take(ctx, c.who.Lab)
		if err != nil {
			return err
		}
		defer leave()
	}
	answer, err := c.transact(ctx)
	if err != nil {
		return c.named(err)
	}
	answer.write(w, r)
	return nil
}

// named says of a rule's faults which parameter they are at where there is no
// body to point into: rules do not know how a value came.
func (c *call) named(err error) error {
	var no *lab.Refusal
	if len(c.shape.bodies) > 0 || !errors.As(err, &no) {
		return err
	}
	for i, f := range no.Faults {
		name := strings.TrimPrefix(f.Pointer, "/")
		if slices.ContainsFunc(c.shape.parameters, func(p parameter) bool { return p.name == name }) {
			no.Faults[i].Pointer, no.Faults[i].Parameter = "", name
		}
	}
	return err
}

// enter takes a place among the long operations, which would otherwise take
// every processor and every connection; a lab has one such place. It fails with
// 503 if none comes free soon.
func (a *API) enter(ctx context.Context, lab string) (leave func(), err error) {
	soon, cancel := context.WithTimeout(ctx, database.AcquireWait)
	defer cancel()
	busy := &failure{status: http.StatusServiceUnavailable, code: "busy",
		detail: "the server is planning for others; try again shortly", header: map[string]string{"Retry-After": "5"}}
	next, err := a.planning.take(soon, lab)
	if err != nil {
		busy.detail = "a plan of this lab is being made; try again once it is done"
		return nil, busy
	}
	select {
	case a.long <- struct{}{}:
		return func() { <-a.long; next() }, nil
	case <-soon.Done():
		next()
		return nil, busy
	}
}

// authenticate reads the token and the time that the request is to act at.
func (c *call) authenticate(ctx context.Context) (err error) {
	if !c.op.Who.public {
		if c.who, err = c.api.mint.read(ctx, c.http.Header, c.clock); err != nil {
			return err
		}
	}
	c.now = c.clock
	if given := c.http.Header.Values("Trial-Time"); len(given) > 0 {
		if !c.api.trial {
			return lab.Refuse(lab.Malformed, "trial-only", "Trial-Time works only where Wetside runs as a trial")
		}
		t, err := time.Parse(time.RFC3339, given[0])
		if err != nil || len(given) > 1 {
			return &lab.Refusal{Kind: lab.Malformed, Code: "malformed", Detail: "Trial-Time is not an instant",
				Faults: []lab.Fault{{Parameter: "Trial-Time", Code: "format", Detail: "want one instant with its offset, such as 2026-11-30T18:00:00Z"}}}
		}
		c.now = instant(t)
	}
	return nil
}

// receive reads the request and notes what is wrong with it, to be said once
// the caller is known to be somebody who may ask. It fails on a body too large.
func (c *call) receive(w http.ResponseWriter, path map[string]string) error {
	var tooLarge *http.MaxBytesError
	if c.http.ContentLength > maxBody { // before 100 Continue invites it
		return errTooLarge()
	}
	raw, err := io.ReadAll(http.MaxBytesReader(w, c.http.Body, maxBody))
	if errors.As(err, &tooLarge) {
		return errTooLarge()
	}
	if err != nil {
		return lab.Refuse(lab.Malformed, "malformed", "the body broke off")
	}
	c.raw = raw
	query, err := url.ParseQuery(c.http.URL.RawQuery)
	if err != nil {
		c.wrong = lab.Refuse(lab.Malformed, "malformed", "the query cannot be read: parameters are parted by &, and %% begins two hexadecimal digits")
	}
	c.req = Request{Setup: c.who.Subject == setupSubject, SignIn: c.who.SignIn, Clock: c.clock, path: path, query: query, body: raw}
	if noPath := c.shape.checkPath(path); noPath != nil {
		c.wrong = noPath
	}
	if c.wrong != nil {
		return nil
	}
	if c.wrong = c.shape.checkQuery(query); c.wrong != nil {
		return nil
	}
	if c.wrong = c.shape.checkHeader(c.http.Header); c.wrong != nil {
		return nil
	}
	if c.req.page, c.wrong = c.api.pager.pageOf(c.http.URL.Path, query); c.wrong != nil {
		return nil
	}
	if coding := c.http.Header.Get("Content-Encoding"); coding != "" && coding != "identity" && len(raw) > 0 && len(c.shape.bodies) > 0 {
		// RFC 9110 §8.4: what is not understood is refused, not read as it is.
		c.wrong = &failure{status: http.StatusUnsupportedMediaType, code: "unsupported-media-type",
			detail: "bodies are taken as they are, without a content coding", header: map[string]string{"Accept-Encoding": "identity"}}
		return nil
	}
	c.body, c.wrong = c.shape.checkBody(c.http.Header.Get("Content-Type"), raw)
	return nil
}

func errTooLarge() error {
	return &failure{status: http.StatusRequestEntityTooLarge, code: "too-large", detail: "a body may have 1 MiB at most"}
}

// labID is the lab whose rows the request may see: the token's; for the setup
// code's token, and where none is asked for, the one that the path names, if any
// can be called so.
func (c *call) labID() string {
	if lab.RefusalCode(c.wrong) == "not-found" {
		return c.who.Lab
	}
	if c.op.Who.public || c.who.Subject == setupSubject {
		return c.req.path["lab"]
	}
	return c.who.Lab
}

// transact runs what needs the database in one transaction.
func (c *call) transact(ctx context.Context) (answer rendered, err error) {
	opts := database.Writing
	if !c.op.writes() || c.op.Stateless {
		opts = database.Reading
	}
	if err := c.prepare(ctx); err != nil {
		return rendered{}, err
	}
	var s lab.Scope
	var no *stays
	err = c.api.store.InTx(ctx, opts, c.labID(), func(tx pgx.Tx) error {
		if s, err = c.admit(ctx, tx); err != nil {
			return err
		}
		if c.wrong != nil || c.op.Stateless {
			return c.wrong
		}
		answer, err = c.once(ctx, tx, s)
		if errors.As(err, &no) {
			return nil
		}
		return err
	})
	if err == nil && no != nil {
		return rendered{}, no.error
	}
	if err == nil && c.op.Stateless {
		return c.handle(ctx, nil, s)
	}
	return answer, err
}

// prepare does an operation's costly work between two transactions.
func (c *call) prepare(ctx context.Context) (err error) {
	if c.op.Prepare == nil {
		return nil
	}
	var work work
	err = c.api.store.InTx(ctx, database.Reading, c.labID(), func(tx pgx.Tx) error {
		s, err := c.admit(ctx, tx)
		if err == nil {
			err = c.wrong
		}
		if err == nil {
			work, err = c.op.Prepare(ctx, tx, s, c.req)
		}
		return err
	})
	if err == nil {
		c.req.prepared, err = work(ctx)
	}
	return err
}

// admit finds the lab and the member, and says whether they may ask. It fails
// with 401 if the member has left, and refuses with Forbidden or NotFound.
func (c *call) admit(ctx context.Context, tx pgx.Tx) (lab.Scope, error) {
	s := lab.Scope{Now: c.now}
	labID, inLab := c.req.path["lab"]
	if inLab && c.wrong != nil && lab.RefusalCode(c.wrong) == "not-found" {
		return s, c.wrong
	}
	if c.op.Who.public || c.who.Subject == setupSubject {
		if !c.op.Who.public && !c.op.Who.setup {
			return s, lab.Refuse(lab.Forbidden, "forbidden", "the setup code makes labs and sign-in codes, and nothing else")
		}
		var err error
		if inLab {
			s.Lab, err = lab.Find(ctx, tx, labID)
		}
		return s, err
	}
	if inLab && labID != c.who.Lab {
		return s, lab.ErrNoLab()
	}
	var stands bool
	err := database.Together(ctx, tx,
		func(tx pgx.Tx) (err error) {
			s.Lab, err = lab.Find(ctx, tx, c.who.Lab)
			return err
		},
		func(tx pgx.Tx) (err error) {
			s.By, stands, err = lab.SignedIn(ctx, tx, c.who.Lab, c.who.Subject, c.who.SignIn, c.clock)
			return err
		})
	switch {
	case lab.RefusalCode(err) == "not-found":
		return s, unauthenticated("invalid_token", "the token's member is not there any more")
	case err != nil:
		return s, err
	case s.By.LeftAt != nil:
		return s, unauthenticated("invalid_token", "the token's member has left the lab")
	case !stands:
		return s, errOver()
	case !c.op.Who.admits(s.By):
		return s, lab.Refuse(lab.Forbidden, "forbidden", "this takes a role that you do not have in this lab")
	}
	return s, nil
}

// once carries the operation out, or replays its first answer.
func (c *call) once(ctx context.Context, tx pgx.Tx, s lab.Scope) (rendered, error) {
	if !c.op.writes() || c.op.Secret {
		return c.handle(ctx, tx, s)
	}
	principal := c.who.Lab + "/" + c.who.Subject
	route := c.op.Method + " " + c.http.URL.Path
	again, err := newReplay(c.http.Header, principal, route, c.http.URL.RawQuery, c.body, c.api.mint.derived("first answers"))
	if err != nil {
		return rendered{}, err
	}
	if again == nil {
		return c.handle(ctx, tx, s)
	}
	first, err := again.begin(ctx, tx, c.clock)
	if err != nil {
		return rendered{}, err
	}
	if first != nil {
		first.header["Idempotency-Replayed"] = "true"
		return *first, nil
	}
	answer, err := c.handle(ctx, tx, s)
	if err != nil {
		return rendered{}, err
	}
	return answer, again.finish(ctx, tx, answer)
}

// handle holds the precondition, runs the handler and renders its answer.
func (c *call) handle(ctx context.Context, tx pgx.Tx, s lab.Scope) (rendered, error) {
	req := c.req
	if c.op.IfMatch != nil {
		seen, err := c.op.IfMatch(ctx, tx, s, req)
		if err != nil {
			return rendered{}, err
		}
		resource, ok := seen.Body.(revisioned)
		if !ok {
			return rendered{}, fmt.Errorf("%s: what If-Match reads has no revision", c.op.ID)
		}
		req.version = resource.Revision()
		if err := precondition(c.http.Header, req.version); err != nil {
			return rendered{}, err
		}
	}
	answer, err := c.op.Handle(ctx, tx, s, req)
	if err := c.record(ctx, tx, s, answer, err); err != nil {
		return rendered{}, err
	}
	if err != nil {
		return rendered{}, err
	}
	return c.render(answer)
}
