package main

import (
	"bytes"
	"context"
	"strings"
	"testing"
)

// outcome is what one command line came to.
type outcome struct {
	code           int
	stdout, stderr string
}

func wetside(t *testing.T, stdin string, args ...string) outcome {
	t.Helper()
	var stdout, stderr bytes.Buffer
	code := run(context.Background(), args, nil, strings.NewReader(stdin), &stdout, &stderr)
	return outcome{code, stdout.String(), stderr.String()}
}

func TestRunDispatches(t *testing.T) {
	t.Parallel()
	tests := map[string]struct {
		args           []string
		code           int
		stdout, stderr string // parts of what is written; empty means nothing is
	}{
		"help":                          {[]string{"--help"}, 0, "usage: wetside COMMAND", ""},
		"help in a word":                {[]string{"help"}, 0, "  plan ", ""},
		"help in short":                 {[]string{"-h"}, 0, "  check ", ""},
		"nothing":                       {nil, 2, "", "usage: wetside COMMAND"},
		"an unknown command":            {[]string{"develop"}, 2, "", `there is no command "develop"`},
		"help on plan":                  {[]string{"plan", "--help"}, 0, "-budget", ""},
		"help on check":                 {[]string{"check", "-h"}, 0, "usage: wetside check PROBLEM PLAN", ""},
		"an unknown option":             {[]string{"plan", "--fast"}, 2, "", "wetside plan: flag provided but not defined: -fast; see wetside plan --help"},
		"an argument to plan":           {[]string{"plan", "problem.json"}, 2, "", `found "problem.json"`},
		"a budget below nothing":        {[]string{"plan", "--budget", "-1s"}, 2, "", "want whole seconds"},
		"a budget of part seconds":      {[]string{"plan", "--budget", "1500ms"}, 2, "", "want whole seconds"},
		"check of one file":             {[]string{"check", "problem.json"}, 2, "", "wants two files"},
		"check of standard input twice": {[]string{"check", "-", "-"}, 2, "", "wants two files"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			got := wetside(t, "", tt.args...)
			if got.code != tt.code {
				t.Errorf("exit code %d, want %d", got.code, tt.code)
			}
			wrote(t, "standard output", got.stdout, tt.stdout)
			wrote(t, "standard error", got.stderr, tt.stderr)
		})
	}
}

func wrote(t *testing.T, where, got, part string) {
	t.Helper()
	if part == "" && got != "" || !strings.Contains(got, part) {
		t.Errorf("%s is %q, want %q in it", where, got, part)
	}
}
