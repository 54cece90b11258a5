package apitest

import (
	"bytes"
	"log/slog"
	"sync"

	"wetside/api"
)

// A Log is what a server writes while a test reads it.
type Log struct {
	mu   sync.Mutex
	text bytes.Buffer
}

// Write adds to the log.
func (l *Log) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(p)
}

// String is all that was written so far.
func (l *Log) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

// Into has a server log here, as JSON.
func (l *Log) Into(c *api.Config) { c.Log = slog.New(slog.NewJSONHandler(l, nil)) }
