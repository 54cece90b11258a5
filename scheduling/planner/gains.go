package planner

import (
	"context"
	"fmt"
	"slices"
	"time"

	"wetside/lab/units"
)

// A Gain is what one change of a lab's means would bring: the problem planned
// again with it, level by level.
type Gain struct {
	// Kind is a Remedy… constant or GainMixing, Of what it is of.
	Kind   string        `json:"kind"`
	Of     string        `json:"of"`
	Change string        `json:"change"`
	Levels []LevelChange `json:"levels"`
	// Better says that the plan with the change is, at the first level at which they differ.
	Better bool `json:"better"`
	// Placed are the rolls that the plan left out and that then have a place.
	Placed []string `json:"placed"`
}

// GainMixing is the kit of the set mixed at the horizon's start, outside any session.
const GainMixing = "mixing"

// Gains plans p again with one more reel of each kind in use, with one more
// session of each tank, on the first day on which it has none at that time, and
// with the next kit of each process mixed now, and says what each would gain
// over plan, which is p's. Each takes at most p's budget; the changes that ctx
// leaves no time for are left out, and complete is then false.
//
// One more reel or session can do no harm, so where the search finds only a
// worse plan with it, the change gains nothing. It fails with *[InvalidError].
func Gains(ctx context.Context, p *Problem, plan *Plan) (gains []Gain, complete bool, err error) {
	gains = []Gain{}
	if faults := p.Validate(); len(faults) > 0 {
		return nil, false, &InvalidError{Faults: faults}
	}
	for _, t := range trials(p) {
		q := t.problem
		if len(q.Validate()) > 0 {
			continue // such a session or kit cannot be
		}
		after, err := solve(ctx, q, nil, false)
		if err != nil {
			return nil, false, err
		}
		if ctx.Err() != nil {
			return gains, false, nil
		}
		g := t.Gain
		g.Levels = compareLevels(plan.Levels, after.Levels)
		g.Levels[chemistry].After += t.price
		g.Placed = []string{}
		if g.Better = better(g.Levels); !g.Better && t.harmless {
			g.Levels = compareLevels(plan.Levels, plan.Levels)
		} else {
			now := after.places()
			for _, out := range plan.LeftOut {
				if now[out.Roll] != nil {
					g.Placed = append(g.Placed, out.Roll)
				}
			}
		}
		gains = append(gains, g)
	}
	return gains, true, nil
}

// better says that the first level that changes gets less.
func better(levels []LevelChange) bool {
	i := slices.IndexFunc(levels, func(l LevelChange) bool { return l.Before != l.After })
	return i >= 0 && levels[i].After < levels[i].Before
}

// A trial is a change to try.
type trial struct {
	Gain
	problem  *Problem
	harmless bool
	price    int64 // paid beside what the plan counts, minor units
}

// trials are the changes that Gains tries.
func trials(p *Problem) []trial {
	var out []trial
	used := map[string]bool{}
	for i := range p.Rolls {
		used[p.Rolls[i].Reel] = true
	}
	for _, k := range p.Reels {
		if used[k.Kind] {
			r := Remedy{Kind: RemedyReel, Of: k.Kind, Count: 1}
			out = append(out, trial{Gain{Kind: r.Kind, Of: r.Of, Change: "one more " + k.Kind + " reel"}, r.Apply(p, nil), true, 0})
		}
	}
	for _, t := range p.Tanks {
		if s, window, ok := anotherDay(p, t.ID); ok {
			r := Remedy{Kind: RemedySession, Of: s.ID, Window: &window}
			say := fmt.Sprintf("one more session like %s, on %s", s.ID, window.Start.In(s.Start.Location()).Format("2 Jan"))
			out = append(out, trial{Gain{Kind: r.Kind, Of: r.Of, Change: say}, r.Apply(p, nil), true, 0})
		}
	}
	mixed := map[string]bool{} // by process: the next kit of each
	for i := range p.BathSets {
		set := &p.BathSets[i]
		if set.Mix == nil || slices.ContainsFunc(set.Processes, func(name string) bool { return mixed[name] }) ||
			slices.ContainsFunc(p.Frozen, func(f FrozenBatch) bool { return f.BathSet == set.ID }) {
			continue
		}
		if q, ok := mixNow(p, set); ok {
			for _, name := range set.Processes {
				mixed[name] = true
			}
			out = append(out, trial{Gain{Kind: GainMixing, Of: set.ID, Change: "kit " + set.Mix.Kit + " mixed now"}, q, false, set.Mix.PriceMinor})
		}
	}
	return out
}

// anotherDay is a tank's last session, and the same hours of the first day of
// the horizon on which no session of the tank has them.
func anotherDay(p *Problem, tank string) (like *Session, window Window, ok bool) {
	for i := range p.Sessions {
		if s := &p.Sessions[i]; s.Tank == tank && (like == nil || s.End.After(like.End)) {
			like = s
		}
	}
	if like == nil {
		return nil, Window{}, false
	}
	length := like.End.Sub(like.Start)
	for start := like.Start.AddDate(0, 0, -int(like.Start.Sub(p.Horizon.Start)/(24*time.Hour))); !start.Add(length).After(p.Horizon.End); start = start.AddDate(0, 0, 1) {
		window = Window{Start: start, End: start.Add(length)}
		busy := slices.ContainsFunc(p.Sessions, func(s Session) bool {
			return s.Tank == tank && s.Start.Before(window.End) && window.Start.Before(s.End)
		})
		if !busy && !start.Before(p.Horizon.Start) {
			return like, window, true
		}
	}
	return nil, Window{}, false
}

// mixNow has a frozen batch of no film, in a tank and session of nobody's, mix
// the set at the horizon's start.
func mixNow(p *Problem, set *BathSet) (*Problem, bool) {
	class := slices.IndexFunc(p.Classes, func(c Class) bool { return slices.Contains(set.Processes, c.Process) })
	start := p.Horizon.Start
	if class < 0 || set.Mix.By != nil && start.After(*set.Mix.By) {
		return nil, false
	}
	q := *p
	end := start.Add(max(set.Mix.Takes, units.Second).Std())
	const aside = "mixed-aside"
	q.Tanks = append(slices.Clone(p.Tanks), Tank{ID: aside, HeightMM: 1, VolumeML: 1})
	q.Sessions = append(slices.Clone(p.Sessions), Session{ID: aside, Tank: aside, Window: Window{Start: start, End: end}, Processes: []string{"-"}})
	q.Frozen = append(slices.Clone(p.Frozen), FrozenBatch{Batch: Batch{
		ID: aside, Session: aside, Tank: aside, Process: p.Classes[class].Process, Class: p.Classes[class].ID, BathSet: set.ID, Mixes: true,
		Start: start, Wet: end, End: end, Clear: end,
	}})
	q.Baths = slices.Clone(p.Baths)
	for i := range q.Baths {
		if b := &q.Baths[i]; slices.Contains(set.Baths, b.ID) && b.RunsLeft != nil {
			b.RunsLeft = new(*b.RunsLeft + 1) // mixing is no run
		}
	}
	return &q, true
}
