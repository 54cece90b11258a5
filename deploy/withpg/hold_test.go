package main

import (
	"bytes"
	"context"
	"errors"
	"os"
	"strings"
	"testing"
)

// fake is a database that only remembers whether it runs.
type fake struct {
	runs  bool
	fails error
}

func (f *fake) URL() string                 { return "postgres://fake" }
func (f *fake) Start(context.Context) error { f.runs = true; return f.fails }
func (f *fake) Stop() error                 { f.runs = false; return f.fails }
func (f *fake) Close() error                { return nil }

func TestObeyAnswersEachLineAndEndsWithItsInput(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		fails error
		in    string
		out   string
		runs  bool
	}{
		"no lines":          {nil, "", "", true},
		"stop":              {nil, "stop\n", "ok\n", false},
		"stop and start":    {nil, "stop\nstart\n", "ok\nok\n", true},
		"an unknown line":   {nil, "halt\n", "halt failed: \"no such command\"\n", true},
		"a failure, quoted": {errors.New("one\ntwo"), "stop\n", "stop failed: \"one\\ntwo\"\n", false},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			db := &fake{runs: true, fails: c.fails}
			var out bytes.Buffer
			if err := obey(t.Context(), db, strings.NewReader(c.in), &out, nil); err != nil {
				t.Fatal(err)
			}
			if want := "postgres://fake\n" + c.out; out.String() != want || db.runs != c.runs {
				t.Errorf("said %q, want %q; runs: %v, want %v", out.String(), want, db.runs, c.runs)
			}
		})
	}
}

func TestObeyEndsOnASignal(t *testing.T) {
	t.Parallel()
	signals := make(chan os.Signal, 1)
	signals <- os.Interrupt
	silent, _, err := os.Pipe() // an input that never ends
	if err != nil {
		t.Fatal(err)
	}
	if err := obey(t.Context(), &fake{}, silent, &bytes.Buffer{}, signals); err != nil {
		t.Error(err)
	}
}

func TestRunRefusesWhatItCannotMean(t *testing.T) {
	for name, args := range map[string][]string{
		"neither a command nor -hold": {},
		"both":                        {"-hold", "true"},
		"an unknown flag":             {"-sideways"},
	} {
		t.Run(name, func(t *testing.T) {
			var log bytes.Buffer
			if got := run(t.Context(), args, nil, &log, &log); got != 125 || log.Len() == 0 {
				t.Errorf("got %d and said %q", got, &log)
			}
		})
	}
}

func TestChooseFailsWhereThereIsNothing(t *testing.T) {
	t.Setenv("PG_BIN_DIR", t.TempDir())
	for _, kind := range []string{"local", "a guess"} {
		t.Setenv("WETSIDE_TEST_POSTGRES", kind)
		if db, err := choose(t.Context(), &bytes.Buffer{}); err == nil {
			_ = db.Close()
			t.Errorf("%s: got a database", kind)
		}
	}
}

func TestRunStartsNothingWhereTheURLIsSet(t *testing.T) {
	t.Setenv("WITHPG_TEST_URL", "postgres://elsewhere")
	t.Setenv("WETSIDE_TEST_POSTGRES", "a guess") // would fail
	var log bytes.Buffer
	args := []string{"-as", "WITHPG_TEST_URL", "sh", "-c", `[ "$WITHPG_TEST_URL" = postgres://elsewhere ] && exit 9`}
	if got := run(t.Context(), args, nil, &log, &log); got != 9 {
		t.Errorf("got %d: %s", got, &log)
	}
}
