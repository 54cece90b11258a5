// Command withpg runs another command with a PostgreSQL beside it, and stops
// that PostgreSQL afterwards, however the command ends:
//
//	go run ./deploy/withpg -- go test ./...
//
// The command finds the server's URL in WETSIDE_TEST_DATABASE_URL (-as names
// another variable). Where that variable is set already, nothing is started.
// Otherwise the server is, in this order: a container, when a Docker engine
// answers and has the image or can pull it; a private server from the
// PostgreSQL binaries installed here; else withpg fails. WETSIDE_TEST_POSTGRES
// set to "docker" or "local" allows that one alone, and
// WETSIDE_TEST_POSTGRES_IMAGE names another image.
//
// With -data the server is local, and its data is kept in that folder.
//
// With -hold there is no command: withpg prints the URL as its first line of
// output, stops and starts the server as the lines "stop" and "start" on its
// input ask, answering "ok" to each, and ends when its input does.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"syscall"
	"time"
)

func main() {
	// A reader of our output that has gone must not keep us from cleaning up.
	signal.Ignore(syscall.SIGPIPE)
	os.Exit(run(context.Background(), os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}

// run returns the exit status: the command's own, or 125 when withpg itself fails.
func run(ctx context.Context, args []string, in io.Reader, out, log io.Writer) int {
	const failed = 125
	flags := flag.NewFlagSet("withpg", flag.ContinueOnError)
	flags.SetOutput(log)
	variable := flags.String("as", "WETSIDE_TEST_DATABASE_URL", "environment `variable` that tells the command the URL")
	data := flags.String("data", "", "keep the data in this `folder` (a local server)")
	hold := flags.Bool("hold", false, "run no command; obey lines on the input until it ends")
	if err := flags.Parse(args); err != nil {
		return failed
	}
	command := flags.Args()
	if *hold == (len(command) > 0) {
		fmt.Fprintln(log, "withpg: give either -hold or a command")
		return failed
	}
	// From here on a signal stops what we started instead of just us.
	signals := make(chan os.Signal, 8)
	signal.Notify(signals, os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	if url := os.Getenv(*variable); url != "" && !*hold {
		fmt.Fprintf(log, "withpg: %s is set already\n", *variable)
		return runCommand(command, nil, signals, log)
	}

	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	db, err := open(ctx, signals, *data, log)
	if err != nil {
		fmt.Fprintln(log, "withpg:", err)
		return failed
	}
	status := 0
	if *hold {
		err = obey(ctx, db, in, out, signals)
	} else {
		status = runCommand(command, []string{*variable + "=" + db.URL()}, signals, log)
	}
	if err = errors.Join(err, db.Close()); err != nil {
		fmt.Fprintln(log, "withpg:", err)
		if status == 0 {
			status = failed
		}
	}
	return status
}

// open starts the server; a signal meanwhile gives that up.
func open(ctx context.Context, signals <-chan os.Signal, data string, log io.Writer) (database, error) {
	type result struct {
		db  database
		err error
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	started := make(chan result, 1)
	go func() {
		db, err := choose(ctx, data, log)
		started <- result{db, err}
	}()
	select {
	case r := <-started:
		return r.db, r.err
	case s := <-signals:
		cancel()
		r := <-started
		if r.err == nil {
			r.err = r.db.Close()
		}
		return nil, errors.Join(fmt.Errorf("stopped by signal: %s", s), r.err)
	}
}

// runCommand runs the command to its end and returns its exit status. Signals
// are passed on; a terminal's Ctrl-C has reached the command by itself.
func runCommand(command, env []string, signals <-chan os.Signal, log io.Writer) int {
	cmd := exec.Command(command[0], command[1:]...)
	cmd.Stdin, cmd.Stdout, cmd.Stderr = os.Stdin, os.Stdout, os.Stderr
	cmd.Env = append(os.Environ(), env...)
	cmd.WaitDelay = 10 * time.Second
	if err := cmd.Start(); err != nil {
		fmt.Fprintln(log, "withpg:", err)
		return 127
	}
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	for {
		select {
		case s := <-signals:
			if s != os.Interrupt {
				_ = cmd.Process.Signal(s)
			}
		case err := <-ended:
			var exit *exec.ExitError
			switch {
			case err == nil:
				return 0
			case errors.As(err, &exit) && exit.ExitCode() >= 0:
				return exit.ExitCode()
			default:
				fmt.Fprintln(log, "withpg:", err)
				return 1
			}
		}
	}
}
