package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
)

// A command is one subcommand: its name, what it does in a few words, and its
// work. env is as [os.Environ] gives it.
type command struct {
	name, does string
	run        func(ctx context.Context, args, env []string, stdin io.Reader, stdout, stderr io.Writer) error
}

// withoutEnv makes a command's work of one that does not look at the environment.
func withoutEnv(
	work func(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) error,
) func(ctx context.Context, args, env []string, stdin io.Reader, stdout, stderr io.Writer) error {
	return func(ctx context.Context, args, _ []string, stdin io.Reader, stdout, stderr io.Writer) error {
		return work(ctx, args, stdin, stdout, stderr)
	}
}

// An exitError ends a command with a code of its own. When err is nil,
// everything has been said already.
type exitError struct {
	code int
	err  error
}

func (e *exitError) Error() string {
	if e.err == nil {
		return fmt.Sprintf("exit code %d", e.code)
	}
	return e.err.Error()
}

func (e *exitError) Unwrap() error { return e.err }

func usage(w io.Writer) {
	fmt.Fprintln(w, "usage: wetside COMMAND [OPTION]...")
	fmt.Fprintln(w)
	for _, c := range commands {
		fmt.Fprintf(w, "  %-8s %s\n", c.name, c.does)
	}
	fmt.Fprintln(w, "\nwetside COMMAND --help says more.")
}

// parse reads a command's options. When done is true the command returns err:
// help was asked for and given on stdout, or the options are wrong.
func parse(fs *flag.FlagSet, args []string, synopsis string, stdout io.Writer) (done bool, err error) {
	fs.SetOutput(io.Discard)
	fs.Usage = func() {}
	err = fs.Parse(args)
	switch {
	case errors.Is(err, flag.ErrHelp):
		fmt.Fprintln(stdout, synopsis)
		fs.SetOutput(stdout)
		fs.PrintDefaults()
		return true, nil
	case err != nil:
		return true, &exitError{2, fmt.Errorf("%w; see wetside %s --help", err, fs.Name())}
	}
	return false, nil
}
