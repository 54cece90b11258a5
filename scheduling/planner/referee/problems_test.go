package referee_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"wetside/lab/units"
	"wetside/scheduling/planner"
)

var monday = time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)

func ticks(n int) units.Duration { return units.Duration(n) * tick }

func at(n int) time.Time { return monday.Add(ticks(n).Std()) }

func ptr[T any](v T) *T { return &v }

// A dealer draws the parts of a problem.
type dealer struct {
	*rand.Rand
	p *planner.Problem
}

func (d *dealer) some(low, high int) int     { return low + d.IntN(high-low+1) }
func (d *dealer) amount(low, high int) int64 { return int64(d.some(low, high)) }
func (d *dealer) chance(percent int) bool    { return d.IntN(100) < percent }

func pick[T any](d *dealer, from []T) T { return from[d.IntN(len(from))] }

// whole draws a problem of up to fourteen rolls with every rule in play: two
// days of a lab with one or two tanks, two to four sessions, up to three bath
// sets of two baths each, and too little of most things. Lengths of time are
// whole ticks, areas whole units.
func whole(seed uint64) *planner.Problem {
	d := &dealer{rand.New(rand.NewPCG(seed, 5)), &planner.Problem{}}
	p := d.p
	p.Horizon = planner.Window{Start: monday, End: at(2 * 144)}
	p.LeftOutDays = d.amount(0, 4)
	p.TolerancePermille = pick(d, []int64{0, 100, 200})
	p.Search.Seed = int64(seed)
	d.equipment()
	d.sessions()
	d.classes()
	for i := range d.some(1, 3) {
		d.set(i)
	}
	if d.chance(40) {
		d.frozen()
	}
	d.rolls()
	return p
}

func (d *dealer) equipment() {
	p := d.p
	for i := range d.some(1, 3) {
		p.Reels = append(p.Reels, planner.ReelKind{
			Kind: fmt.Sprint("reel-", i), Count: d.amount(2, 6), Holds: pick(d, []int64{0, 1, 1, 2}), HeightMM: 10 * d.amount(3, 9),
			SolutionML: 50 * d.amount(3, 9), Loading: ticks(pick(d, []int{0, 0, 1})), Drying: ticks(d.some(0, 24)),
		})
	}
	for i := range d.some(1, 2) {
		t := planner.Tank{
			ID: fmt.Sprint("tank-", i), HeightMM: 10 * d.amount(12, 30), VolumeML: 100 * d.amount(9, 24),
			WarmUp:  map[string]units.Duration{"process-0": ticks(d.some(0, 3)), "process-1": ticks(d.some(0, 3))},
			CleanUp: ticks(d.some(0, 1)), Flush: ticks(d.some(0, 2)),
		}
		for j, k := range p.Reels {
			if j == i || d.chance(80) {
				t.Reels = append(t.Reels, k.Kind)
			}
		}
		p.Tanks = append(p.Tanks, t)
	}
	for i := range d.some(1, 2) {
		c := planner.Cabinet{
			ID: fmt.Sprint("cabinet-", i), Positions: d.amount(4, 12), Drying: ticks(d.some(6, 40)),
			Takes: map[string]int64{"strip": 1},
		}
		if d.chance(70) {
			c.Takes["long"] = d.amount(1, 3)
		}
		p.Cabinets = append(p.Cabinets, c)
	}
}

// sessions draws evenings and days, the tanks' side by side now and then, with
// one operator for two tanks or one each.
func (d *dealer) sessions() {
	p := d.p
	from := make([]int, len(p.Tanks))
	for i := range from {
		from[i] = d.some(48, 60)
	}
	for i := range d.some(2, 4) {
		tank := i % len(p.Tanks)
		length := d.some(9, 20)
		s := planner.Session{
			ID: fmt.Sprint("session-", i), Tank: p.Tanks[tank].ID, Operator: pick(d, []string{"ann", "ann", "bo", ""}),
			Window: planner.Window{Start: at(from[tank]), End: at(from[tank] + length)},
		}
		if d.chance(20) {
			s.Processes = []string{fmt.Sprint("process-", d.some(0, 1))}
		}
		p.Sessions = append(p.Sessions, s)
		from[tank] += length + pick(d, []int{0, 12, 60})
	}
}

func (d *dealer) classes() {
	for i := range d.some(2, 4) {
		wet := d.some(3, 6)
		c := planner.Class{
			ID: fmt.Sprint("class-", i), Process: fmt.Sprint("process-", i/2), Developing: units.Duration(60 * d.some(8, 10)),
			Wet: ticks(wet), Steps: []planner.Step{{Role: "developer"}}, Shareable: d.chance(60),
		}
		if d.chance(70) {
			c.Steps = append(c.Steps, planner.Step{Role: "fixer", Begins: ticks(d.some(1, wet-1))})
		}
		if d.chance(60) {
			first := d.some(0, wet-1)
			c.Hands = append(c.Hands, planner.Span{From: ticks(first), To: ticks(first + 1)})
			if first+1 < wet && d.chance(50) {
				c.Hands = append(c.Hands, planner.Span{From: ticks(wet - 1), To: ticks(wet)})
			}
		}
		d.p.Classes = append(d.p.Classes, c)
	}
}

// set draws a mixed bath set or a kit, of a developer and a fixer of its own or
// another set's.
func (d *dealer) set(i int) {
	p := d.p
	set := planner.BathSet{ID: fmt.Sprint("set-", i), Processes: []string{"process-0", "process-1"}}
	if d.chance(30) {
		set.Processes = []string{fmt.Sprint("process-", d.some(0, 1))}
	}
	kit := d.chance(50)
	if kit {
		set.Mix = &planner.Mix{Kit: fmt.Sprint("kit-", i), PriceMinor: 50 * d.amount(10, 80), Takes: ticks(d.some(0, 3))}
		if d.chance(30) {
			set.Mix.By = ptr(at(d.some(50, 250)))
		}
	} else if d.chance(60) {
		set.WasteMinorPerM2 = d.amount(1, 3000)
	}
	for _, role := range []string{"developer", "fixer"} {
		if role == "fixer" && i > 0 && d.chance(20) {
			other := pick(d, p.BathSets)
			shared := other.Baths[1]
			at := slices.IndexFunc(p.Baths, func(b planner.Bath) bool { return b.ID == shared })
			if p.Baths[at].Life == nil { // a life begins in one set alone
				set.Baths = append(set.Baths, shared)
				continue
			}
		}
		b := planner.Bath{ID: fmt.Sprint(role, "-", i), Role: role, VolumeML: 100 * d.amount(9, 24), OneShot: d.chance(20)}
		if b.OneShot {
			b.VolumeML *= d.amount(1, 3)
		}
		if d.chance(60) {
			b.RunMM2PerL = ptr(unit * d.amount(12, 40))
		}
		if d.chance(70) {
			b.AreaLeftMM2 = ptr(unit * d.amount(15, 80))
		}
		if d.chance(30) {
			b.RunsLeft = ptr(d.amount(1, 5))
		}
		switch {
		case kit && d.chance(50):
			b.Life = ptr(ticks(d.some(8, 200)))
		case d.chance(40):
			b.ExpiresAt = ptr(at(d.some(55, 288)))
		}
		p.Baths = append(p.Baths, b)
		set.Baths = append(set.Baths, b.ID)
	}
	p.BathSets = append(p.BathSets, set)
}

// rolls draws four to fourteen rolls of a few sorts, some booked, pinned,
// banned, handed in late, due at a time of their own, or in the plan before.
func (d *dealer) rolls() {
	p := d.p
	var sorts []planner.Roll
	for range d.some(2, 4) {
		s := planner.Roll{
			Class: pick(d, p.Classes).ID, AreaMM2: unit * d.amount(3, 12), Reel: pick(d, p.Reels).Kind, Hang: pick(d, []string{"strip", "strip", "long"}),
			HandedIn: at(d.some(-100, 40)), Weight: d.amount(0, 3),
		}
		if d.chance(60) {
			s.Due = ptr(at(d.some(40, 300)))
		}
		sorts = append(sorts, s)
	}
	for i := range d.some(4, 14) {
		r := pick(d, sorts)
		r.ID = fmt.Sprint("roll-", i)
		if d.chance(15) {
			r.HandedIn = at(d.some(50, 120))
		}
		if d.chance(15) {
			r.Due = ptr(at(d.some(-100, 300)))
		}
		session := pick(d, p.Sessions).ID
		switch d.some(0, 11) {
		case 0:
			r.Booked = session
		case 1:
			p.Pins = append(p.Pins, planner.Hold{Roll: r.ID, Session: session})
		case 2:
			p.Bans = append(p.Bans, planner.Hold{Roll: r.ID, Session: session})
		case 3:
			if d.chance(30) {
				p.Bans = append(p.Bans, planner.Hold{Roll: r.ID})
			}
		}
		if d.chance(30) {
			p.Previous = append(p.Previous, planner.Hold{Roll: r.ID, Session: pick(d, []string{session, session, "", "gone"})})
		}
		p.Rolls = append(p.Rolls, r)
	}
}

// frozen has one batch stand, of one or two rolls, within the rules.
func (d *dealer) frozen() {
	p := d.p
	s, class, set := pick(d, p.Sessions), pick(d, p.Classes), pick(d, p.BathSets)
	tank := p.Tanks[slices.IndexFunc(p.Tanks, func(t planner.Tank) bool { return t.ID == s.Tank })]
	kind := p.Reels[slices.IndexFunc(p.Reels, func(k planner.ReelKind) bool { return k.Kind == tank.Reels[0] })]
	cabinet := pick(d, p.Cabinets)
	start := s.Start.Add(ticks(d.some(0, 4)).Std())
	f := planner.FrozenBatch{Batch: planner.Batch{
		ID: "batch-1", Session: s.ID, Tank: s.Tank, Process: class.Process, Class: class.ID, BathSet: set.ID, Start: start,
	}}
	mixed := start
	if set.Mix != nil {
		f.Mixes = true
		mixed = start.Add(set.Mix.Takes.Std())
	}
	films := d.some(1, 2)
	reels := (int64(films) + max(kind.Holds, 1) - 1) / max(kind.Holds, 1)
	f.Wet = mixed.Add(max(tank.WarmUp[class.Process], units.Duration(reels)*kind.Loading).Std())
	f.End = f.Wet.Add(class.Wet.Std())
	f.Clear = f.End.Add(tank.CleanUp.Std())
	f.Reels = []planner.ReelUse{{Kind: kind.Kind, Count: reels}}
	for i := range films {
		id := fmt.Sprint("old-", i)
		f.Films = append(f.Films, planner.Roll{ID: id, Class: class.ID, AreaMM2: unit * d.amount(3, 8), Reel: kind.Kind, Hang: "strip"})
		f.Rolls = append(f.Rolls, planner.Placement{Roll: id, Cabinet: cabinet.ID, DryAt: f.End.Add(cabinet.Drying.Std())})
	}
	p.Frozen = []planner.FrozenBatch{f}
}
