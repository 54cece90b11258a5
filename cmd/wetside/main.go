// Command wetside schedules a shared film lab; see the table of commands.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
)

// commands are wetside's subcommands, in the order that the usage lists them.
var commands = []command{
	{"serve", "serve the API", runServe},
	{"migrate", "bring the database up to date", runMigrate},
	{"keys", "list, rotate or revoke the keys that sign tokens", runKeys},
	{"demo", "load a demo into a trial, and print its week", runDemo},
	{"plan", "plan a problem read from standard input", withoutEnv(runPlan)},
	{"check", "judge a plan by every rule", withoutEnv(runCheck)},
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // a second signal ends the process at once
	code := run(ctx, os.Args[1:], os.Environ(), os.Stdin, os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// run carries out one command line and gives the exit code: 0 when all is
// well, 2 when it could not begin for what it was given, 1 for anything else.
func run(ctx context.Context, args, env []string, stdin io.Reader, stdout, stderr io.Writer) int {
	if len(args) == 0 {
		usage(stderr)
		return 2
	}
	if args[0] == "--help" || args[0] == "-h" || args[0] == "help" {
		usage(stdout)
		return 0
	}
	for _, c := range commands {
		if c.name != args[0] {
			continue
		}
		err := c.run(ctx, args[1:], env, stdin, stdout, stderr)
		code := 0
		if err != nil {
			code = 1
			var exit *exitError
			if errors.As(err, &exit) {
				code, err = exit.code, exit.err
			}
		}
		if err != nil {
			fmt.Fprintf(stderr, "wetside %s: %v\n", c.name, err)
		}
		return code
	}
	fmt.Fprintf(stderr, "wetside: there is no command %q\n\n", args[0])
	usage(stderr)
	return 2
}
