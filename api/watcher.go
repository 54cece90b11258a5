package api

import (
	"context"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/lab/database"
)

// A watcher looks at the schedules of the labs that somebody listens to: once
// for each lab, however many listen.
type watcher struct {
	store   *database.Store
	drained context.Context
	poll    time.Duration

	mu   sync.Mutex
	labs map[string]*watched
}

// watched is one lab that is looked at.
type watched struct {
	mu     sync.Mutex
	signal chan struct{} // closed when the schedule has changed
	by     int           // how many listen; the watcher's lock is for it
	stop   context.CancelFunc
}

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
		l = &watched{signal: make(chan struct{}), stop: stop}
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

// look signals every change of a lab's schedule version. While the database is
// away it goes on looking.
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
		err := w.store.InTx(ctx, database.Reading, labID, func(tx pgx.Tx) (err error) {
			found, err = lab.Find(ctx, tx, labID)
			return err
		})
		if err != nil || found.ScheduleVersion == last {
			continue
		}
		last = found.ScheduleVersion
		l.mu.Lock()
		close(l.signal)
		l.signal = make(chan struct{})
		l.mu.Unlock()
	}
}
