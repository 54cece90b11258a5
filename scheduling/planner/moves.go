package planner

import (
	"cmp"
	"slices"
	"time"
)

// A Place is where a plan has a roll.
type Place struct {
	Session string `json:"session"`
	// Start is the batch's, DryAt the roll's; neither is known of a plan that is only kept by its sessions.
	Start *time.Time `json:"start,omitempty"`
	DryAt *time.Time `json:"dry_at,omitempty"`
}

// A Move is a roll that two plans have in different sessions; From is nil when
// the one before left it out, To when the one after does.
type Move struct {
	Roll string `json:"roll"`
	From *Place `json:"from,omitempty"`
	To   *Place `json:"to,omitempty"`
}

// places finds where a plan has each roll.
func (pl *Plan) places() map[string]*Place {
	out := make(map[string]*Place)
	for i := range pl.Batches {
		b := &pl.Batches[i]
		for j := range b.Rolls {
			out[b.Rolls[j].Roll] = &Place{Session: b.Session, Start: &b.Start, DryAt: &b.Rolls[j].DryAt}
		}
	}
	return out
}

// moved are the rolls of p that the plan before had elsewhere: as many as
// level 6 counts.
func moved(p *Problem, plan *Plan) []Move {
	now := plan.places()
	rolls := make(map[string]bool, len(p.Rolls))
	for i := range p.Rolls {
		rolls[p.Rolls[i].ID] = true
	}
	var out []Move
	for _, was := range p.Previous {
		to := now[was.Roll]
		if !rolls[was.Roll] || to == nil && was.Session == "" || to != nil && to.Session == was.Session {
			continue
		}
		mv := Move{Roll: was.Roll, To: to}
		if was.Session != "" {
			mv.From = &Place{Session: was.Session}
		}
		out = append(out, mv)
	}
	slices.SortFunc(out, func(a, b Move) int { return cmp.Compare(a.Roll, b.Roll) })
	return out
}

// A LevelChange is what a level comes to in two plans.
type LevelChange struct {
	Name   string `json:"name"`
	Unit   string `json:"unit"`
	Before int64  `json:"before"`
	After  int64  `json:"after"`
}

// A Difference is what changes from one plan to another.
type Difference struct {
	// Moves are the rolls in another session, or in none, by id.
	Moves  []Move        `json:"moves"`
	Levels []LevelChange `json:"levels"`
}

// Compare gives the difference between two plans, of one problem or of two.
func Compare(before, after *Plan) Difference {
	was, is := before.places(), after.places()
	d := Difference{Moves: []Move{}, Levels: compareLevels(before.Levels, after.Levels)}
	for _, roll := range sortedKeys(was) {
		from, to := was[roll], is[roll]
		if to == nil || to.Session != from.Session {
			d.Moves = append(d.Moves, Move{Roll: roll, From: from, To: to})
		}
	}
	for _, roll := range sortedKeys(is) {
		if was[roll] == nil {
			d.Moves = append(d.Moves, Move{Roll: roll, To: is[roll]})
		}
	}
	slices.SortFunc(d.Moves, func(a, b Move) int { return cmp.Compare(a.Roll, b.Roll) })
	return d
}

func compareLevels(before, after []Level) []LevelChange {
	out := make([]LevelChange, 0, len(after))
	for i, l := range after {
		c := LevelChange{Name: l.Name, Unit: l.Unit, After: l.Value}
		if i < len(before) {
			c.Before = before[i].Value
		}
		out = append(out, c)
	}
	return out
}
