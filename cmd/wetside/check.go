package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"

	"wetside/scheduling/planner"
	"wetside/scheduling/planner/checker"
)

const checkSynopsis = `usage: wetside check PROBLEM PLAN

Judges a plan, as "wetside plan" writes it, by every rule of planning, and what
it claims to be worth. Each is a JSON file; one of them may be - for standard
input. A broken rule is a line on standard output; the exit code is 1 when
there is any, 2 when a file cannot be read.
`

// runCheck is "wetside check". It fails with an exitError of code 1 when the
// plan breaks a rule, and of code 2 when there is none to judge.
func runCheck(_ context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) error {
	fs := flag.NewFlagSet("check", flag.ContinueOnError)
	if done, err := parse(fs, args, checkSynopsis, stdout); done {
		return err
	}
	if fs.NArg() != 2 || fs.Arg(0) == "-" && fs.Arg(1) == "-" {
		return &exitError{2, errors.New("wants two files, a problem and a plan; see wetside check --help")}
	}
	var p *planner.Problem
	err := readFrom(fs.Arg(0), stdin, func(r io.Reader) (err error) {
		p, err = planner.DecodeProblem(r)
		return err
	})
	if err != nil {
		return &exitError{2, err}
	}
	var plan *planner.Plan
	err = readFrom(fs.Arg(1), stdin, func(r io.Reader) (err error) {
		plan, err = decodePlan(r)
		return err
	})
	if err != nil {
		return &exitError{2, err}
	}
	if faults := p.Validate(); len(faults) > 0 {
		return refuse(faults, stderr)
	}
	found := checker.Check(p, plan)
	for _, v := range found {
		fmt.Fprintln(stdout, v)
	}
	if len(found) > 0 {
		return &exitError{code: 1}
	}
	placed := 0
	for _, b := range plan.Batches {
		placed += len(b.Rolls)
	}
	_, err = fmt.Fprintf(stdout, "plan keeps every rule: %d batches, %d rolls placed, %d left out\n",
		len(plan.Batches), placed, len(plan.LeftOut))
	return err
}

// readFrom gives read the file of that name, or standard input for "-"; what
// goes wrong is told with the name.
func readFrom(name string, stdin io.Reader, read func(io.Reader) error) error {
	r, from := stdin, "standard input"
	if name != "-" {
		f, err := os.Open(name)
		if err != nil {
			return err
		}
		defer f.Close()
		r, from = f, name
	}
	if err := read(r); err != nil {
		return fmt.Errorf("%s: %w", from, err)
	}
	return nil
}

// decodePlan reads one Plan in JSON, refusing unknown fields and anything
// after it.
func decodePlan(r io.Reader) (*planner.Plan, error) {
	d := json.NewDecoder(r)
	d.DisallowUnknownFields()
	var plan planner.Plan
	if err := d.Decode(&plan); err != nil {
		return nil, fmt.Errorf("reading a plan: %w", err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("reading a plan: more follows after it, at byte %d", d.InputOffset())
	}
	return &plan, nil
}
