package api

import (
	"context"
	"net/http"
	"sync"
)

// turns have the changes of one lab come one after another, before they take a
// connection: they would wait for the lab's row all the same (lab.Lock), and many
// that wait would leave no connection for other labs. Two may run, so that one can
// be read in while the other holds the row. It is a matter of speed alone: other
// servers' requests meet these at the row.
type turns struct {
	atOnce int

	mu   sync.Mutex
	labs map[string]*turn
}

type turn struct {
	places chan struct{}
	users  int // those in it and waiting for it
}

// changesAtOnce is how many changes of a lab may run in this process.
const changesAtOnce = 2

// take waits for a turn until ctx is done, and then fails with 503.
func (t *turns) take(ctx context.Context, lab string) (leave func(), err error) {
	t.mu.Lock()
	at := t.labs[lab]
	if at == nil {
		if t.labs == nil {
			t.labs = map[string]*turn{}
		}
		at = &turn{places: make(chan struct{}, t.atOnce)}
		t.labs[lab] = at
	}
	at.users++
	t.mu.Unlock()
	done := func() {
		t.mu.Lock()
		defer t.mu.Unlock()
		if at.users--; at.users == 0 {
			delete(t.labs, lab)
		}
	}
	select {
	case at.places <- struct{}{}:
		return func() { <-at.places; done() }, nil
	case <-ctx.Done():
		done()
		return nil, &failure{status: http.StatusServiceUnavailable, code: "busy",
			detail: "too many are changing this lab at this moment; nothing was changed", header: map[string]string{"Retry-After": "2"}}
	}
}
