package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"strings"
	"time"

	"wetside/deploy/demo"
)

const demoSynopsis = `usage: wetside demo [--url URL] [--setup-code CODE] [--save FOLDER]

Tells a server that runs as a trial the demo's story, an invented co-op and its
coming week, by HTTP calls alone; then prints that week. Where the co-op is
there already, it loads nothing and prints.
`

// runDemo is "wetside demo".
func runDemo(ctx context.Context, args, env []string, _ io.Reader, stdout, stderr io.Writer) error {
	fs := flag.NewFlagSet("demo", flag.ContinueOnError)
	url := fs.String("url", variable(env, "WETSIDE_URL", "http://127.0.0.1:8080"), "the server's `URL`; WETSIDE_URL says it too")
	code := fs.String("setup-code", "", "the installation's setup `CODE`; WETSIDE_SETUP_CODE says it too (in a trial wetside-trial unless given)")
	save := fs.String("save", "", "also write the week's planning problem and plan into `FOLDER`, for wetside plan and wetside check")
	if done, err := parse(fs, args, demoSynopsis, stdout); done {
		return err
	}
	if fs.NArg() > 0 {
		return &exitError{2, fmt.Errorf("takes no arguments, found %q", fs.Arg(0))}
	}
	// The environment's code is no default, or --help would print it.
	if *code == "" {
		*code = variable(env, "WETSIDE_SETUP_CODE", trialSetupCode)
	}
	start := time.Now()
	err := demo.Run(ctx, demo.Options{URL: *url, SetupCode: *code, Now: start, Log: stderr, Save: *save}, stdout)
	if no := (*demo.Problem)(nil); errors.As(err, &no) && no.Code == "trial-only" {
		return fmt.Errorf("the server does not run as a trial (WETSIDE_TRIAL=true), so it lives at its own time alone: %w", err)
	}
	if err == nil {
		fmt.Fprintf(stderr, "done in %s\n", time.Since(start).Round(100*time.Millisecond))
	}
	return err
}

// variable is a variable of the environment, or what stands for it when it is
// empty or not there.
func variable(env []string, name, otherwise string) string {
	for _, v := range env {
		if value, ok := strings.CutPrefix(v, name+"="); ok && value != "" {
			return value
		}
	}
	return otherwise
}
