package apitest

import (
	"bufio"
	"context"
	"net/http"
	"strings"
	"testing"
	"time"
)

const eventStream = "text/event-stream"

// patience is how long a test waits for what must come.
const patience = 20 * time.Second

// An Event is a server-sent event, or a comment if it has neither name nor data.
type Event struct{ ID, Name, Data string }

// A Listening is a client that listens to a stream of events.
type Listening struct {
	t      testing.TB
	events chan Event // closed when the stream has ended
	close  context.CancelFunc
}

// Listen opens a stream of events, which is closed when the test ends.
func (c *Client) Listen(path string) *Listening {
	c.t.Helper()
	return c.listen(http.MethodGet, path, nil)
}

// ListenTo posts a JSON body and listens to the stream that answers it.
func (c *Client) ListenTo(path, body string) *Listening {
	c.t.Helper()
	return c.With("Content-Type", "application/json").listen(http.MethodPost, path, []byte(body))
}

func (c *Client) listen(method, path string, body []byte) *Listening {
	c.t.Helper()
	ctx, cancel := context.WithCancel(c.t.Context())
	c.t.Cleanup(cancel)
	l := &Listening{t: c.t, events: make(chan Event, 1000), close: cancel}
	req, err := c.request(ctx, method, path, body)
	if err != nil {
		c.t.Fatal(err)
	}
	req.Header.Set("Accept", eventStream)
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		c.t.Fatal(err)
	}
	if resp.StatusCode != http.StatusOK || resp.Header.Get("Content-Type") != eventStream {
		_ = resp.Body.Close()
		c.t.Fatalf("%s: answered %d, %s", path, resp.StatusCode, resp.Header.Get("Content-Type"))
	}
	go func() {
		defer close(l.events)
		defer func() { _ = resp.Body.Close() }()
		l.read(bufio.NewScanner(resp.Body))
	}()
	return l
}

// read parts a stream into events, as the HTML Living Standard has it (9.2.6),
// of one line of data.
func (l *Listening) read(lines *bufio.Scanner) {
	lines.Buffer(nil, 1<<20)
	var e Event
	for lines.Scan() {
		field, value, _ := strings.Cut(lines.Text(), ":")
		value = strings.TrimPrefix(value, " ")
		switch field {
		case "id":
			e.ID = value
		case "event":
			e.Name = value
		case "data":
			e.Data += value
		case "":
			if lines.Text() == "" {
				l.events <- e
				e = Event{}
			}
		}
	}
}

// Next waits for the next event, over comments. The second value is false once
// the stream has ended.
func (l *Listening) Next() (Event, bool) {
	l.t.Helper()
	for {
		e, ok := l.Any()
		if !ok || e != (Event{}) {
			return e, ok
		}
	}
}

// Any waits for the next event or comment.
func (l *Listening) Any() (Event, bool) {
	l.t.Helper()
	select {
	case e, ok := <-l.events:
		return e, ok
	case <-time.After(patience):
		l.t.Fatal("still waiting for an event")
		return Event{}, false
	}
}

// Close hangs up.
func (l *Listening) Close() { l.close() }
