// Package child runs a command in our place for a while: its input and output
// are ours, signals that come to us go to it, and its exit status is handed on.
package child

import (
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"syscall"
)

// Exit statuses that do not come from the command, as env(1) and sh have them.
const (
	Failed   = 125 // we failed ourselves
	NotFound = 127 // the command could not be started
)

// Signals catches, from the call on, what would end us. Call it before
// anything is started that must be stopped again.
func Signals() <-chan os.Signal {
	signals := make(chan os.Signal, 8)
	signal.Notify(signals, os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	return signals
}

// Run runs the command to its end, with env added to our environment, and
// returns its exit status: 128 and the signal's number if a signal ended it.
// An interrupt is not passed on, because the terminal's Ctrl-C goes to the
// command as well as to us.
func Run(command, env []string, signals <-chan os.Signal, log io.Writer) int {
	cmd := exec.Command(command[0], command[1:]...)
	cmd.Stdin, cmd.Stdout, cmd.Stderr = os.Stdin, os.Stdout, os.Stderr
	cmd.Env = append(os.Environ(), env...)
	if err := cmd.Start(); err != nil {
		fmt.Fprintln(log, err)
		return NotFound
	}
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	for {
		select {
		case s := <-signals:
			if s != os.Interrupt {
				_ = cmd.Process.Signal(s) // it may have ended just now
			}
		case err := <-ended:
			return status(err, log)
		}
	}
}

// status turns what Wait returned into an exit status.
func status(err error, log io.Writer) int {
	var exit *exec.ExitError
	switch {
	case err == nil:
		return 0
	case !errors.As(err, &exit):
		fmt.Fprintln(log, err)
		return Failed
	}
	if wait, ok := exit.Sys().(syscall.WaitStatus); ok && wait.Signaled() {
		return 128 + int(wait.Signal())
	}
	return exit.ExitCode()
}
