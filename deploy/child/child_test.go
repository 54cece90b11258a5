package child_test

import (
	"bytes"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"wetside/deploy/child"
)

func TestRunHandsOnTheExitStatus(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		script string
		want   int
	}{
		"success":                  {"exit 0", 0},
		"a status of its own":      {"exit 3", 3},
		"ended by a signal":        {"kill -KILL $$", 137},
		"what we add to its world": {`[ "$ADDED" = here ] && exit 4`, 4},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var log bytes.Buffer
			got := child.Run([]string{"sh", "-c", c.script}, []string{"ADDED=here"}, nil, &log)
			if got != c.want {
				t.Errorf("got %d, want %d: %s", got, c.want, &log)
			}
		})
	}
}

func TestRunSaysWhatItCannotStart(t *testing.T) {
	t.Parallel()
	var log bytes.Buffer
	got := child.Run([]string{"no-such-command-anywhere"}, nil, nil, &log)
	if got != child.NotFound || !bytes.Contains(log.Bytes(), []byte("no-such-command-anywhere")) {
		t.Errorf("got %d and %q", got, &log)
	}
}

// TestRunPassesSignalsOn lets the command trap SIGTERM: it ends with a status
// of its own only if the signal reaches it.
func TestRunPassesSignalsOn(t *testing.T) {
	t.Parallel()
	ready := filepath.Join(t.TempDir(), "ready")
	signals := make(chan os.Signal, 1)
	ended := make(chan int, 1)
	go func() {
		script := `trap 'exit 7' TERM; : > "$READY"; while :; do sleep 0.05; done`
		ended <- child.Run([]string{"sh", "-c", script}, []string{"READY=" + ready}, signals, &bytes.Buffer{})
	}()
	for deadline := time.Now().Add(10 * time.Second); ; time.Sleep(5 * time.Millisecond) {
		if _, err := os.Stat(ready); err == nil {
			break
		}
		if time.Now().After(deadline) {
			t.Fatal("the command did not start")
		}
	}
	signals <- syscall.SIGTERM
	select {
	case got := <-ended:
		if got != 7 {
			t.Errorf("ended with %d, want 7", got)
		}
	case <-time.After(10 * time.Second):
		t.Error("the command did not end")
	}
}
