package testdb

import (
	"context"
	"testing"
)

// Instance is a PostgreSQL that one test has for itself, so that it can take
// it away in the middle of something.
type Instance struct {
	tb     testing.TB
	holder *holder
	url    string
}

// Server starts a PostgreSQL for tb alone, with one migrated database in it,
// and ends it with tb. It takes a second or more: use it only to stop it.
func Server(tb testing.TB) *Instance {
	tb.Helper()
	ctx, cancel := context.WithTimeout(tb.Context(), startLimit)
	defer cancel()
	h, err := hold(ctx)
	if err != nil {
		tb.Fatal("testdb: ", err)
	}
	tb.Cleanup(func() {
		if err := h.close(); err != nil {
			tb.Error("testdb: ", err)
		}
	})
	s, err := prepare(ctx, h.url)
	if err != nil {
		tb.Fatal("testdb: ", err)
	}
	name, err := s.clone(ctx)
	if err != nil {
		tb.Fatal("testdb: ", err)
	}
	return &Instance{tb: tb, holder: h, url: s.database(name)}
}

// URL is where the migrated database is; it stays the same over Stop and Start.
func (i *Instance) URL() string { return i.url }

// Stop ends the server at once, with every connection; the data stays.
func (i *Instance) Stop() {
	i.tb.Helper()
	if err := i.holder.ask("stop"); err != nil {
		i.tb.Fatal("testdb: stop PostgreSQL: ", err)
	}
}

// Start brings the server back on the same port with the same data.
func (i *Instance) Start() {
	i.tb.Helper()
	if err := i.holder.ask("start"); err != nil {
		i.tb.Fatal("testdb: start PostgreSQL: ", err)
	}
}
