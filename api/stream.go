package api

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/database"
)

const eventStream = "text/event-stream"

// Bounds of streams. A stream takes a connection of the server's for as long as
// it lasts, though none of the database's.
const (
	heartbeat        = 15 * time.Second // proxies close what is silent for longer
	sendTime         = 10 * time.Second // a caller who takes nothing for so long is dropped
	reconnectAfter   = 2 * time.Second
	streamsPerMember = 5
	streamsInAll     = 1000
)

// A streamer answers with server-sent events until it has no more to say or ctx
// is done: the caller has gone, the token has run out, the sign-in was ended, or
// the server stops. It
// gets no transaction; out has those it needs. A refusal before the first event
// is answered as a problem, later ones as an event "problem".
type streamer func(ctx context.Context, s lab.Scope, r Request, out *events) error

// events are the server-sent events of one answer (HTML Living Standard, 9.2).
// It may be used by several goroutines.
type events struct {
	// LastID is the id of the last event that the caller has seen, if they come again.
	LastID string

	call  *call
	mu    sync.Mutex
	w     http.ResponseWriter
	begun bool
}

// Send sends one event with data as JSON. An id, unless empty, is what the
// caller brings as LastID when they come again. It fails once the caller has gone.
func (e *events) Send(id, name string, data any) error {
	text, err := json.Marshal(data)
	if err != nil {
		return fmt.Errorf("event %s: %w", name, err)
	}
	var b bytes.Buffer
	if id != "" {
		fmt.Fprintf(&b, "id: %s\n", id)
	}
	fmt.Fprintf(&b, "event: %s\ndata: %s\n\n", name, text) // JSON of one line
	return e.write(b.Bytes())
}

// InTx runs f in a transaction within the lab, after the caller has been
// admitted anew: who has left, or lost the role, gets no further. It reads,
// unless the operation writes.
func (e *events) InTx(ctx context.Context, f func(tx pgx.Tx, s lab.Scope) error) error {
	opts := database.Reading
	if e.call.op.writes() {
		opts = database.Writing
	}
	return e.call.api.store.InTx(ctx, opts, e.call.labID(), func(tx pgx.Tx) error {
		s, err := e.call.admit(ctx, tx)
		if err != nil {
			return err
		}
		s.Now = instant(s.Now.Add(e.call.api.clock().Sub(e.call.clock))) // the stream has lasted so long
		return f(tx, s)
	})
}

// write sends bytes of the stream at once, the header first.
func (e *events) write(b []byte) error {
	e.mu.Lock()
	defer e.mu.Unlock()
	if !e.begun {
		e.begun = true
		h := e.w.Header()
		h.Set("Content-Type", eventStream)
		h.Set("Cache-Control", "no-store")
		h.Set("X-Accel-Buffering", "no") // proxies that would gather events up
		e.w.WriteHeader(http.StatusOK)
		b = append(fmt.Appendf(nil, "retry: %d\n\n", reconnectAfter.Milliseconds()), b...)
	}
	control := http.NewResponseController(e.w)
	// The server's own time-outs are for requests that end.
	err := errors.Join(control.SetReadDeadline(time.Time{}), control.SetWriteDeadline(time.Now().Add(sendTime)))
	if err != nil && !errors.Is(err, http.ErrNotSupported) {
		return fmt.Errorf("stream: %w", err)
	}
	if _, err := e.w.Write(b); err != nil {
		return fmt.Errorf("stream: %w", err)
	}
	if err := control.Flush(); err != nil {
		return fmt.Errorf("stream: %w", err)
	}
	return nil
}

// beat keeps the stream alive with comments, and calls gone when the caller is.
func (e *events) beat(ctx context.Context, gone context.CancelFunc) {
	every := time.NewTicker(e.call.api.heartbeat)
	defer every.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-every.C:
			if err := e.write([]byte(":\n\n")); err != nil {
				gone()
				return
			}
		}
	}
}

// streams says whether the request is to be answered by a stream: the
// operation has nothing else, or the caller asks for it.
func (o operation) streams(r *http.Request) bool {
	return o.Stream != nil && (o.Handle == nil || strings.Contains(r.Header.Get("Accept"), eventStream))
}

// errOver ends a stream whose sign-in is over, or whose member has left.
func errOver() error {
	return unauthenticated("invalid_token", "the token's sign-in was ended; sign in again")
}

// stream answers by server-sent events.
func (c *call) stream(ctx context.Context, w http.ResponseWriter) error {
	ctx, end := context.WithCancelCause(ctx)
	defer end(nil)
	ctx, cancel := context.WithTimeout(ctx, c.who.ExpiresAt.Sub(c.clock))
	defer cancel()
	defer context.AfterFunc(c.api.drained, cancel)()
	var s lab.Scope
	err := c.api.store.InTx(ctx, database.Reading, c.labID(), func(tx pgx.Tx) (err error) {
		if s, err = c.admit(ctx, tx); err != nil {
			return err
		}
		return c.wrong
	})
	if err != nil {
		return err
	}
	leave, err := c.api.streams.enter(c.who.Lab + "/" + c.who.Subject)
	if err != nil {
		return err
	}
	defer leave()
	out := &events{LastID: c.http.Header.Get("Last-Event-ID"), call: c, w: w}
	if c.http.Method == http.MethodHead {
		return out.write(nil)
	}
	if c.who.SignIn != "" {
		defer c.api.boards.attend(c.who.Lab, c.who.SignIn, func() { end(errOver()) })()
	}
	var beating sync.WaitGroup
	beating.Go(func() { out.beat(ctx, cancel) })
	err = c.op.Stream(ctx, s, c.req, out)
	if over := new(failure); errors.As(context.Cause(ctx), &over) {
		err = over
	}
	cancel()
	beating.Wait()
	switch {
	case !out.begun:
		return err
	case err == nil, c.http.Context().Err() != nil, c.api.drained.Err() != nil:
		return nil // the caller has had all, has gone, or is to come again
	}
	p, _ := describe(asOurs(err), identityOf(c.http.Context()).own)
	_ = out.Send("", "problem", p) // who has gone does not hear it
	return err
}
