package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"strings"

	"wetside/lab/units"
	"wetside/scheduling/planner"
)

const planSynopsis = `usage: wetside plan [--seed N] [--budget TIME] [--trace] < PROBLEM

Reads a planning problem as JSON from standard input and writes the plan as
JSON on standard output. What is wrong with a problem goes to standard error,
one fault a line, and the exit code is 2.
`

// runPlan is "wetside plan". It fails with an exitError of code 2 when the
// options or the problem are at fault.
func runPlan(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) error {
	fs := flag.NewFlagSet("plan", flag.ContinueOnError)
	seed := fs.Int64("seed", 0, "begin the search from seed `N`, instead of the problem's")
	budget := fs.Duration("budget", 0, "search for at most `TIME`, such as 10s, in whole seconds, instead of the problem's")
	trace := fs.Bool("trace", false, "say on standard error how the search goes; on a terminal it always does")
	if done, err := parse(fs, args, planSynopsis, stdout); done {
		return err
	}
	if fs.NArg() > 0 {
		return &exitError{2, fmt.Errorf("takes no arguments, found %q; the problem comes on standard input", fs.Arg(0))}
	}
	if *budget < 0 || *budget != units.FromStd(*budget).Std() {
		return &exitError{2, fmt.Errorf("--budget is %s, want whole seconds", *budget)}
	}
	if given := false; *budget == 0 {
		if fs.Visit(func(f *flag.Flag) { given = given || f.Name == "budget" }); given {
			return &exitError{2, errors.New("--budget is 0s, which leaves no time to plan in: want 1s or more, or leave it out")}
		}
	}
	p, err := planner.DecodeProblem(stdin)
	if err != nil {
		return &exitError{2, err}
	}
	fs.Visit(func(f *flag.Flag) {
		switch f.Name {
		case "seed":
			p.Search.Seed = *seed
		case "budget":
			p.Search.Budget = units.FromStd(*budget)
		}
	})
	progress := func(planner.Progress) {}
	if *trace || terminal(stderr) {
		progress = func(at planner.Progress) { fmt.Fprintln(stderr, traceLine(at)) }
	}
	plan, err := planner.Solve(ctx, p, progress)
	if invalid := (*planner.InvalidError)(nil); errors.As(err, &invalid) {
		return refuse(invalid.Faults, stderr)
	}
	if err != nil {
		return err
	}
	out := json.NewEncoder(stdout)
	out.SetIndent("", "  ")
	return out.Encode(plan)
}

// refuse writes a problem's faults, one a line.
func refuse(faults []planner.Fault, stderr io.Writer) error {
	for _, f := range faults {
		fmt.Fprintf(stderr, "%s: %s\n", f.Pointer, f.Detail)
	}
	return &exitError{code: 2}
}

// terminal says that somebody may be watching.
func terminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}

// traceLine is a better plan or bound in a line, each value with its bound where
// that is less: "step 120: displaced 0, lateness 3 ≥ 2, …".
func traceLine(at planner.Progress) string {
	var b strings.Builder
	fmt.Fprintf(&b, "step %d:", at.Iterations)
	for i, value := range at.Levels {
		if i > 0 {
			b.WriteByte(',')
		}
		fmt.Fprintf(&b, " %s %d", planner.LevelNames[i], value)
		if at.Bounds[i] < value {
			fmt.Fprintf(&b, " ≥ %d", at.Bounds[i])
		}
	}
	return b.String()
}
