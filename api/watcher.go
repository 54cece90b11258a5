package api

import (
	"context"
	"maps"
	"slices"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/database"
)

// A watcher looks at the labs that somebody listens to: whether the schedule has
// changed, and whether the sign-ins that streams came by still stand. It looks
// once for each lab, however many listen.
type watcher struct {
	store   *database.Store
	drained context.Context
	poll    time.Duration
	clock   func() time.Time

	mu   sync.Mutex
	labs map[string]*watched
}

// watched is one lab that is looked at.
type watched struct {
	mu     sync.Mutex
	signal chan struct{} // closed when the schedule has changed
	by     int           // how many listen; the watcher's lock is for it
	stop   context.CancelFunc

	// signIns have, by id, what ends each of the streams that came by them.
	signIns map[string]map[*attendant]struct{}
}

// An attendant is a stream that is ended when its sign-in is.
type attendant struct{ end func() }

// changed is closed the next time that the schedule has changed.
func (w *watched) changed() <-chan struct{} {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.signal
}

// watch has a lab looked at until leave is called.
func (w *watcher) watch(labID string) (l *watched, leave func()) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if l = w.labs[labID]; l == nil {
		if w.labs == nil {
			w.labs = map[string]*watched{}
		}
		ctx, stop := context.WithCancel(w.drained)
		l = &watched{signal: make(chan struct{}), stop: stop, signIns: map[string]map[*attendant]struct{}{}}
		w.labs[labID] = l
		go w.look(ctx, labID, l)
	}
	l.by++
	return l, func() {
		w.mu.Lock()
		defer w.mu.Unlock()
		if l.by--; l.by == 0 {
			l.stop()
			delete(w.labs, labID)
		}
	}
}

// attend has end called once the sign-in does not stand any more, unless leave
// is called before.
func (w *watcher) attend(labID, signIn string, end func()) (leave func()) {
	l, unwatch := w.watch(labID)
	a := &attendant{end}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.signIns[signIn] == nil {
		l.signIns[signIn] = map[*attendant]struct{}{}
	}
	l.signIns[signIn][a] = struct{}{}
	return func() {
		l.mu.Lock()
		if delete(l.signIns[signIn], a); len(l.signIns[signIn]) == 0 {
			delete(l.signIns, signIn)
		}
		l.mu.Unlock()
		unwatch()
	}
}

// attended are the sign-ins that streams came by.
func (w *watched) attended() []string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return slices.Collect(maps.Keys(w.signIns))
}

// end ends the streams that came by any of the sign-ins.
func (w *watched) end(signIns []string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, id := range signIns {
		for a := range w.signIns[id] {
			a.end()
		}
	}
}

// look signals every change of a lab's schedule version, and ends the streams of
// sign-ins that are over. While the database is away it goes on looking.
func (w *watcher) look(ctx context.Context, labID string, l *watched) {
	every := time.NewTicker(w.poll)
	defer every.Stop()
	var last int64
	for {
		select {
		case <-ctx.Done():
			return
		case <-every.C:
		}
		var found lab.Lab
		var over []string
		attended := l.attended()
		err := w.store.InTx(ctx, database.Reading, labID, func(tx pgx.Tx) (err error) {
			if over, err = lab.Over(ctx, tx, labID, attended, w.clock()); err == nil {
				found, err = lab.Find(ctx, tx, labID)
			}
			return err
		})
		if err != nil {
			continue
		}
		l.end(over)
		if found.ScheduleVersion == last {
			continue
		}
		last = found.ScheduleVersion
		l.mu.Lock()
		close(l.signal)
		l.signal = make(chan struct{})
		l.mu.Unlock()
	}
}
