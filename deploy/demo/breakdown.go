package demo

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
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
	p.head("WERE %s OUT OF ORDER: a trial, of which nothing is stored", p.Breakdown.Tank.Name)
	p.line(0, "  %s taken apart, %s elsewhere or nowhere, the rest where they are", count(len(tried.TakenApart), "batch", "batches"),
		count(len(tried.Difference.Moves), "roll", "rolls"))
	p.moves(tried.Difference.Moves)
	var levels []string
	for _, l := range tried.Difference.Levels {
		if l.Before != l.After && l.Name != "changes" {
			levels = append(levels, fmt.Sprintf("%s %s → %s", l.Name, worth(l.Before, l.Unit), worth(l.After, l.Unit)))
		}
	}
	p.line(4, "    %s", strings.Join(levels, ", "))
}

// moves prints moves, those of one way in one line.
func (p printer) moves(moves []planner.Move) {
	at := func(place *planner.Place) string {
		if place == nil {
			return "no session"
		}
		return p.sessionName(place.Session)
	}
	rolls, who := map[string]int{}, map[string][]string{}
	for _, m := range moves {
		way := at(m.From) + " → " + at(m.To)
		rolls[way]++
		if name := p.member(p.roll(m.Roll).Member).Name; !slices.Contains(who[way], name) {
			who[way] = append(who[way], name)
		}
	}
	for _, way := range slices.Sorted(maps.Keys(rolls)) {
		slices.Sort(who[way])
		p.line(8, "    %s: %s of %s", way, count(rolls[way], "roll", "rolls"), strings.Join(who[way], ", "))
	}
}
