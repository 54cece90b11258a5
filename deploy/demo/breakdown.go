package demo

import (
	"context"
	"slices"
	"time"

	"wetside/lab"
	"wetside/scheduling"
	"wetside/scheduling/planner"
)

// A Breakdown is what the week would come to were a tank out of order.
type Breakdown struct {
	Tank  lab.Tank
	Tried scheduling.TriedPlan
}

// breakdown tries the week without the tank that has most of its batches; a
// week that is over cannot be tried, and is left out.
func (r reader) breakdown(ctx context.Context, b *Board) error {
	runs := map[string]int{}
	for _, batch := range b.Batches {
		runs[batch.Tank]++
	}
	for _, t := range b.Tanks {
		if runs[t.ID] > runs[b.Breakdown.Tank.ID] {
			b.Breakdown.Tank = t
		}
	}
	span := b.Plan.Problem.Horizon
	if b.Breakdown.Tank.ID == "" || !span.End.After(time.Now()) {
		b.Breakdown = Breakdown{}
		return nil
	}
	return r.post(ctx, r.lab+"plan-trials", scheduling.Trial{
		NewPlan: scheduling.NewPlan{From: span.Start, Until: span.End},
		Without: scheduling.WithoutParts{Tanks: []string{b.Breakdown.Tank.ID}},
	}, &b.Breakdown.Tried)
}

// breakdown prints what would move, and from where to where.
func (p printer) breakdown() {
	if p.Breakdown.Tank.ID == "" {
		return
	}
	tried := &p.Breakdown.Tried
	p.head("WERE %s OUT OF ORDER: planned again, with the fewest changes", p.Breakdown.Tank.Name)
	p.line(0, "  %s taken apart, %s elsewhere or nowhere; nothing of this is stored", count(len(tried.TakenApart), "batch", "batches"),
		count(len(tried.Difference.Moves), "roll", "rolls"))
	at := func(place *planner.Place) string {
		if place == nil {
			return "no session"
		}
		return p.sessionName(place.Session)
	}
	rolls := map[string]int{}
	var moves []string
	for _, m := range tried.Difference.Moves {
		r := p.roll(m.Roll)
		move := p.member(r.Member).Name + ", " + p.format(r.Format).Name + ": from " + at(m.From) + " to " + at(m.To)
		if rolls[move]++; rolls[move] == 1 {
			moves = append(moves, move)
		}
	}
	slices.Sort(moves)
	for _, move := range moves {
		p.line(8, "    %d × %s", rolls[move], move)
	}
	for _, l := range tried.Difference.Levels {
		if l.Before != l.After && l.Name != "changes" {
			p.line(4, "    %s %d → %d %s", l.Name, l.Before, l.After, l.Unit)
		}
	}
}
