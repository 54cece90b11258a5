package demo

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"slices"
	"time"

	"wetside/chemistry"
	"wetside/chemistry/shares"
	"wetside/lab"
	"wetside/scheduling"
)

// A Board is the lab as it stands, read for printing.
type Board struct {
	Lab       lab.Lab
	Members   []lab.Member
	Tanks     []lab.Tank
	Cabinets  []lab.Cabinet
	Formats   []chemistry.Format
	Processes []chemistry.Process
	Kits      []chemistry.Kit
	BathSets  []chemistry.BathSet
	Rolls     []scheduling.Roll
	// Sessions are the coming week's, Others those of the weeks around it.
	Sessions, Others []scheduling.OpenSession
	Batches          []scheduling.Batch
	Entries          []shares.Entry
	Plan             scheduling.Plan
	// Repaired is the plan that was made when a tank broke down, Proved what stood before.
	Proved, Repaired scheduling.Plan
	Sheet            scheduling.RunSheet
	Statement        shares.Statement
	Settlement       shares.LabSettlement
	Accounts
	// Bath is one that much is booked on, WhatIf what it still takes, Trace of
	// a spoiled roll.
	Bath   scheduling.BathAnswer
	WhatIf scheduling.WhatIf
	Trace  scheduling.Trace
	Waste  []chemistry.WasteTotal
	Never  []chemistry.Incompatibility
	// Mixing is of the kit ToMix, Film a load of cine film measured.
	ToMix     string
	Mixing    chemistry.MixingTable
	Film      chemistry.FilmMeasured
	Breakdown Breakdown
	// Codes sign members in, by member; each works once.
	Codes map[string]string
}

// ErrAbsent says that the server has no demo.
var ErrAbsent = errors.New("the demo's co-op is not there")

// Read reads the demo's lab from a server, as its keeper, and has a sign-in
// code made for everybody. It fails with ErrAbsent where the demo was not loaded.
func Read(ctx context.Context, o Options) (*Board, error) {
	d, err := read()
	if err != nil {
		return nil, err
	}
	c := o.client()
	if c.token, err = c.signIn(ctx, o.SetupCode); err != nil {
		return nil, fmt.Errorf("sign in with the setup code: %w", err)
	}
	labs, err := all[lab.Lab](ctx, c, "/v1/labs")
	if err != nil {
		return nil, err
	}
	at := slices.IndexFunc(labs, func(l lab.Lab) bool { return l.Name == d.name() })
	if at < 0 {
		return nil, ErrAbsent
	}
	b := &Board{Lab: labs[at], Codes: map[string]string{}}
	r := reader{client: c, lab: "/v1/labs/" + b.Lab.ID + "/", turns: len(d.past.Turns) + 2}
	if b.Members, err = all[lab.Member](ctx, c, r.lab+"members"); err != nil {
		return nil, err
	}
	keeper := slices.IndexFunc(b.Members, func(m lab.Member) bool { return m.Has(lab.RoleKeeper) })
	code, err := r.code(ctx, b.Members[keeper].ID)
	if err != nil {
		return nil, err
	}
	token, err := c.signIn(ctx, code)
	if err != nil {
		return nil, err
	}
	if err := (reader{client: c.as(token), lab: r.lab, turns: r.turns}).board(ctx, b); err != nil {
		return nil, err
	}
	for _, m := range b.Members {
		if b.Codes[m.ID], err = r.code(ctx, m.ID); err != nil {
			return nil, err
		}
	}
	return b, nil
}

// A reader reads one lab.
type reader struct {
	*client
	lab   string
	turns int // how many plans the story commits: of each turn, of a breakdown, of the coming week
}

func (r reader) code(ctx context.Context, member string) (string, error) {
	var code lab.SignInCode
	err := r.post(ctx, r.lab+"members/"+member+"/sign-in-codes", nil, &code)
	return code.Code, err
}

// listed reads a whole list of the lab into out.
func listed[T any](ctx context.Context, r reader, path string, out *[]T) func() error {
	return func() (err error) {
		*out, err = all[T](ctx, r.client, r.lab+path)
		return err
	}
}

// board reads all that is printed.
func (r reader) board(ctx context.Context, b *Board) error {
	for _, part := range []func() error{
		listed(ctx, r, "tanks", &b.Tanks),
		listed(ctx, r, "cabinets", &b.Cabinets),
		listed(ctx, r, "formats", &b.Formats),
		listed(ctx, r, "processes", &b.Processes),
		listed(ctx, r, "kits", &b.Kits),
		listed(ctx, r, "bath-sets", &b.BathSets),
		listed(ctx, r, "rolls", &b.Rolls),
		listed(ctx, r, "entries", &b.Entries),
		func() error { return r.week(ctx, b) },
		func() error { return r.breakdown(ctx, b) },
		func() error { return r.sheet(ctx, b) },
		func() error { return r.chemistry(ctx, b) },
		func() error { _, err := r.get(ctx, r.lab+"settlement", &b.Settlement); return err },
		func() error { return r.statement(ctx, b) },
		func() error { return r.accounts(ctx, b) },
	} {
		if err := part(); err != nil {
			return err
		}
	}
	return nil
}

// week reads the newest plan that was committed, with its sessions and batches.
func (r reader) week(ctx context.Context, b *Board) error {
	plans, err := all[scheduling.Plan](ctx, r.client, r.lab+"plans")
	if err != nil {
		return err
	}
	committed := 0
	for _, p := range plans {
		if p.State == scheduling.Committed {
			if len(p.Replaces) > 0 {
				b.Proved, b.Repaired = b.Plan, p
			}
			b.Plan = p
			committed++
		}
	}
	if committed < r.turns {
		return fmt.Errorf("the demo was loaded in part only: %d of its %d plans are committed; start over with an empty database", committed, r.turns)
	}
	batches, err := all[scheduling.Batch](ctx, r.client, r.lab+"batches")
	if err != nil {
		return err
	}
	b.Batches = slices.DeleteFunc(batches, func(x scheduling.Batch) bool { return x.Plan != b.Plan.ID })
	slices.SortStableFunc(b.Batches, func(x, y scheduling.Batch) int { return x.Start.Compare(y.Start) })
	span := b.Plan.Problem.Horizon
	const weeks = 14 * 24 * time.Hour
	q := url.Values{"from": {span.Start.Add(-weeks).Format(time.RFC3339)}, "until": {span.End.Add(weeks).Format(time.RFC3339)}}
	sessions, err := all[scheduling.OpenSession](ctx, r.client, r.lab+"sessions?"+q.Encode())
	for _, e := range sessions {
		if e.Start.Before(span.Start) || !e.Start.Before(span.End) {
			b.Others = append(b.Others, e)
		} else {
			b.Sessions = append(b.Sessions, e)
		}
	}
	return err
}

// sheet reads the run sheet that shows most: the one with the most corrections.
func (r reader) sheet(ctx context.Context, b *Board) error {
	best := -1
	for _, batch := range b.Batches {
		var sheet scheduling.RunSheet
		if _, err := r.get(ctx, r.lab+"batches/"+batch.ID+"/run-sheet", &sheet); err != nil {
			return err
		}
		shows := len(sheet.Rolls)
		for _, step := range sheet.Steps {
			shows += 20 * len(step.Working)
		}
		if shows > best {
			best, b.Sheet = shows, sheet
		}
	}
	return nil
}

// statement reads the longest statement of a member.
func (r reader) statement(ctx context.Context, b *Board) error {
	for _, m := range b.Members {
		var st shares.Statement
		if _, err := r.get(ctx, r.lab+"members/"+m.ID+"/statement", &st); err != nil {
			return err
		}
		if len(st.Lines) > len(b.Statement.Lines) {
			b.Statement = st
		}
	}
	return nil
}
