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
	"os/signal"
	"syscall"

	"wetside/deploy/child"
)

func main() {
	// A reader of our output that has gone must not keep us from cleaning up.
	signal.Ignore(syscall.SIGPIPE)
	os.Exit(run(context.Background(), os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}

// run returns the exit status: the command's own, or child.Failed.
func run(ctx context.Context, args []string, in io.Reader, out, log io.Writer) int {
	flags := flag.NewFlagSet("withpg", flag.ContinueOnError)
	flags.SetOutput(log)
	variable := flags.String("as", "WETSIDE_TEST_DATABASE_URL", "environment `variable` that tells the command the URL")
	hold := flags.Bool("hold", false, "run no command; obey lines on the input until it ends")
	if err := flags.Parse(args); err != nil {
		return child.Failed
	}
	command := flags.Args()
	if *hold == (len(command) > 0) {
		fmt.Fprintln(log, "withpg: give either -hold or a command")
		return child.Failed
	}
	signals := child.Signals()
	if url := os.Getenv(*variable); url != "" && !*hold {
		fmt.Fprintf(log, "withpg: %s is set already\n", *variable)
		return child.Run(command, nil, signals, log)
	}

	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	db, err := open(ctx, signals, log)
	if err != nil {
		fmt.Fprintln(log, "withpg:", err)
		return child.Failed
	}
	status := 0
	if *hold {
		err = obey(ctx, db, in, out, signals)
	} else {
		status = child.Run(command, []string{*variable + "=" + db.URL()}, signals, log)
	}
	if err = errors.Join(err, db.Close()); err != nil {
		fmt.Fprintln(log, "withpg:", err)
		if status == 0 {
			status = child.Failed
		}
	}
	return status
}

// open starts the server; a signal meanwhile gives that up.
func open(ctx context.Context, signals <-chan os.Signal, log io.Writer) (database, error) {
	type result struct {
		db  database
		err error
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	started := make(chan result, 1)
	go func() {
		db, err := choose(ctx, log)
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
