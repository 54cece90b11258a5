package checker_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"pgregory.net/rapid"

	"wetside/lab/units"
	"wetside/scheduling/planner"
)

var (
	hangs  = []string{"strip", "sheet", "long"}
	monday = at("02 00:00:00")
)

// randomProblem draws a small valid problem without frozen batches: scarce
// enough in everything that each rule stands in some roll's way.
func randomProblem(d dice) *planner.Problem {
	p := &planner.Problem{
		Horizon:           planner.Window{Start: monday, End: monday.Add(3 * 24 * time.Hour)},
		Search:            planner.Search{Seed: d.amount(0, 9), Iterations: 150},
		TolerancePermille: pick(d, []int64{0, 50, 200}),
		LeftOutDays:       d.amount(0, 20),
	}
	for i := range d.amount(1, 3) {
		p.Reels = append(p.Reels, planner.ReelKind{
			Kind: fmt.Sprintf("reel-%d", i), Count: d.amount(1, 6), Holds: d.amount(0, 3), HeightMM: d.amount(30, 120),
			SolutionML: d.amount(100, 600), Loading: d.minutes(0, 8), Drying: d.minutes(0, 200),
		})
	}
	for i := range d.amount(1, 2) {
		tank := planner.Tank{
			ID: fmt.Sprintf("tank-%d", i), HeightMM: d.amount(120, 400), VolumeML: d.amount(600, 4000),
			CleanUp: d.minutes(0, 20), Flush: d.minutes(0, 20),
			WarmUp: map[string]units.Duration{"process-0": d.minutes(0, 40), "process-1": d.minutes(0, 40)},
		}
		for _, kind := range p.Reels {
			if d.amount(0, 4) > 0 {
				tank.Reels = append(tank.Reels, kind.Kind)
			}
		}
		p.Tanks = append(p.Tanks, tank)
		drawSessions(d, p, tank.ID)
	}
	for i := range d.amount(1, 2) {
		c := planner.Cabinet{ID: fmt.Sprintf("cabinet-%d", i), Positions: d.amount(1, 10), Drying: d.minutes(30, 400), Takes: map[string]int64{}}
		for _, hang := range hangs {
			if d.amount(0, 4) > 0 {
				c.Takes[hang] = d.amount(1, 2)
			}
		}
		p.Cabinets = append(p.Cabinets, c)
	}
	drawChemistry(d, p)
	drawRolls(d, p)
	return p
}

// A dice draws the parts of a problem: a whole number from low to high.
type dice func(low, high int64) int64

// rapidDice draws by rapid. That prefers small numbers and the ends of ranges;
// an even dice spreads them, which makes for fuller plans, and the other sort
// shrinks better.
func rapidDice(t *rapid.T) dice {
	if !rapid.Bool().Draw(t, "even") {
		return func(low, high int64) int64 { return rapid.Int64Range(low, high).Draw(t, "amount") }
	}
	return func(low, high int64) int64 {
		n := rapid.Uint64().Draw(t, "even amount") * 0x9e3779b97f4a7c15
		n = (n ^ n>>29) * 0xbf58476d1ce4e5b9
		return low + int64((n^n>>32)%uint64(high-low+1))
	}
}

// seededDice draws evenly, the same for the same seed.
func seededDice(seed uint64) dice {
	rng := rand.New(rand.NewPCG(seed, 17))
	return func(low, high int64) int64 { return low + rng.Int64N(high-low+1) }
}

func (d dice) amount(low, high int64) int64 { return d(low, high) }

func (d dice) minutes(low, high int64) units.Duration {
	return units.Duration(d.amount(low, high)) * units.Minute
}

// instant draws one of the horizon's minutes, or of the day before and after.
func (d dice) instant() time.Time { return monday.Add(d.minutes(-24*60, 4*24*60).Std()) }

// maybe draws a value or, one time in three, nothing binding.
func maybe[T any](d dice, draw func() T) *T {
	if d.amount(0, 2) > 0 {
		return ptr(draw())
	}
	return nil
}

// drawSessions gives a tank one or two sessions, one after the other.
func drawSessions(d dice, p *planner.Problem, tank string) {
	from := monday.Add(d.minutes(-60, 120).Std())
	for range d.amount(1, 2) {
		to := from.Add(d.minutes(120, 600).Std())
		s := planner.Session{
			ID: fmt.Sprintf("session-%d", len(p.Sessions)), Tank: tank, Window: planner.Window{Start: from, End: to},
			Operator: fmt.Sprintf("op-%d", d.amount(0, 1)),
		}
		if d.amount(0, 4) == 0 {
			s.Processes = []string{"process-0"}
		}
		p.Sessions = append(p.Sessions, s)
		from = to.Add(d.minutes(0, 300).Std())
	}
}

// drawChemistry gives two processes, each of one to three classes and as many
// bath sets, which share their last bath.
func drawChemistry(d dice, p *planner.Problem) {
	for i := range 2 {
		process := fmt.Sprintf("process-%d", i)
		for j := range d.amount(1, 3) {
			wet := d.amount(10, 60)
			c := planner.Class{
				ID: fmt.Sprintf("class-%d-%d", i, j), Process: process, Wet: units.Duration(wet) * units.Minute,
				Developing: units.Duration(d.amount(300, 400)), Shareable: i == 0,
				Steps: []planner.Step{{Role: "developer"}, {Role: "fixer", Begins: d.minutes(0, wet)}},
			}
			if from := d.amount(0, wet); d.amount(0, 1) == 1 {
				c.Hands = []planner.Span{{From: units.Duration(from) * units.Minute, To: d.minutes(from, wet)}}
			}
			p.Classes = append(p.Classes, c)
		}
		shared := drawBath(d, p, "fixer", false)
		for j := range d.amount(1, 3) {
			set := planner.BathSet{ID: fmt.Sprintf("set-%d-%d", i, j), Processes: []string{process}}
			if d.amount(0, 1) == 1 {
				set.Mix = &planner.Mix{
					Kit: "kit", PriceMinor: d.amount(0, 5000), Takes: d.minutes(0, 60),
					By: maybe(d, func() time.Time { return d.instant() }),
				}
			} else {
				set.WasteMinorPerM2 = d.amount(0, 3000)
			}
			set.Baths = []string{drawBath(d, p, "developer", set.Mix != nil), shared}
			p.BathSets = append(p.BathSets, set)
		}
	}
}

func drawBath(d dice, p *planner.Problem, role string, kit bool) string {
	b := planner.Bath{
		ID: fmt.Sprintf("bath-%d", len(p.Baths)), Role: role, VolumeML: d.amount(600, 6000),
		OneShot:     d.amount(0, 2) == 0,
		RunMM2PerL:  maybe(d, func() int64 { return d.amount(50_000, 300_000) }),
		AreaLeftMM2: maybe(d, func() int64 { return d.amount(50_000, 900_000) }),
		RunsLeft:    maybe(d, func() int64 { return d.amount(0, 8) }),
	}
	if kit {
		b.Life = maybe(d, func() units.Duration { return d.minutes(60, 3000) })
	} else {
		b.ExpiresAt = maybe(d, func() time.Time { return d.instant() })
	}
	p.Baths = append(p.Baths, b)
	return b.ID
}

// drawRolls gives up to sixteen rolls, some booked, pinned or banned, and
// where the plan before had them.
func drawRolls(d dice, p *planner.Problem) {
	session := func() string { return pick(d, p.Sessions).ID }
	for i := range d.amount(1, 16) {
		r := planner.Roll{
			ID: fmt.Sprintf("roll-%d", i), Class: pick(d, p.Classes).ID,
			AreaMM2: d.amount(10_000, 120_000), Reel: pick(d, p.Reels).Kind,
			Hang: pick(d, hangs), HandedIn: monday.Add(d.minutes(-600, 240).Std()),
			Due: maybe(d, func() time.Time { return d.instant() }), Weight: d.amount(0, 5),
		}
		switch d.amount(0, 11) {
		case 0:
			r.Booked = session()
		case 1:
			p.Pins = append(p.Pins, hold(r.ID, session()))
		case 2:
			p.Bans = append(p.Bans, hold(r.ID, session()))
		case 3:
			p.Bans = append(p.Bans, hold(r.ID, ""))
		}
		switch d.amount(0, 2) {
		case 0:
			p.Previous = append(p.Previous, hold(r.ID, session()))
		case 1:
			p.Previous = append(p.Previous, hold(r.ID, ""))
		}
		p.Rolls = append(p.Rolls, r)
	}
}

// pick draws an element.
func pick[T any](d dice, from []T) T { return from[d.amount(0, int64(len(from)-1))] }

// freeze makes the batches of a plan that start by an instant stand: their
// rolls leave the problem for them. Where the plan had rolls is the plan before.
func freeze(p *planner.Problem, plan *planner.Plan, by time.Time) *planner.Problem {
	q := *p
	q.Rolls, q.Pins, q.Bans, q.Previous = nil, nil, nil, nil
	rolls := map[string]planner.Roll{}
	for _, r := range p.Rolls {
		rolls[r.ID] = r
	}
	for _, b := range plan.Batches {
		f := planner.FrozenBatch{Batch: b}
		for _, pl := range b.Rolls {
			f.Films = append(f.Films, rolls[pl.Roll])
			q.Previous = append(q.Previous, hold(pl.Roll, b.Session))
			if !b.Start.After(by) {
				delete(rolls, pl.Roll)
			}
		}
		if !b.Start.After(by) {
			q.Frozen = append(q.Frozen, f)
		}
	}
	free := func(id string) bool { _, ok := rolls[id]; return ok }
	q.Rolls = slices.DeleteFunc(slices.Clone(p.Rolls), func(r planner.Roll) bool { return !free(r.ID) })
	q.Pins = slices.DeleteFunc(slices.Clone(p.Pins), func(h planner.Hold) bool { return !free(h.Roll) })
	q.Bans = slices.DeleteFunc(slices.Clone(p.Bans), func(h planner.Hold) bool { return !free(h.Roll) })
	return &q
}
