package chemistry

import (
	"fmt"

	"wetside/lab/units"
)

// A Schedule is a process with its times worked out: what the operator follows
// and what planning counts with.
type Schedule struct {
	Steps []TimedStep
	// Wet is from the first solution in to the last step's end, by-hand steps
	// included.
	Wet units.Duration
}

// A TimedStep is a step with its time corrected and its place in the run.
type TimedStep struct {
	Step Step
	// Number counts from 1.
	Number int
	// Base is the step's normal time (of a roll's own developing time, that)
	// and Time what the Working makes of it.
	Base    units.Duration
	Working []Factor
	Time    units.Duration
	// Begins and Ends are after wet start.
	Begins units.Duration
	Ends   units.Duration
}

// A Span is from one offset after wet start to another.
type Span struct {
	From units.Duration
	To   units.Duration
}

// Schedule times the steps for a batch at push stops whose (longest)
// developing time is developing, as Developing gives it, with factors on the
// steps by role, as BathDefinition.Factor and WorstFactors give them, and others
// on the developer, as AtTemperature gives them.
func (p Process) Schedule(push int, developing units.Duration, factors map[string]Factor, developer ...Factor) Schedule {
	var out Schedule
	for i, s := range p.Steps {
		t := TimedStep{Step: s, Number: i + 1, Base: s.Time, Begins: out.Wet}
		if s.Developer {
			if p.FilmDeveloping {
				t.Base = developing
			} else if developing != s.Time {
				t.Working = append(t.Working, p.pushFactor(push, developing-s.Time))
			}
		}
		if f, ok := factors[s.Role]; ok && !s.Water {
			t.Working = append(t.Working, f)
		}
		if s.Developer {
			t.Working = append(t.Working, developer...)
		}
		t.Time = Corrected(t.Base, t.Working...)
		t.Ends = t.Begins + t.Time
		out.Wet = t.Ends
		out.Steps = append(out.Steps, t)
	}
	return out
}

func (p Process) pushFactor(push int, add units.Duration) Factor {
	f := Factor{Name: fmt.Sprintf("push %+d", push), Add: add, Source: p.Source}
	if push < 0 {
		f.Name = fmt.Sprintf("pull %d", -push)
	}
	for _, row := range p.Pushes {
		if row.Stops == push && row.Source != "" {
			f.Source = row.Source
		}
	}
	return f
}

// WorstSchedule is an upper bound on Schedule in any of the baths at any
// temperature that the process corrects for.
func (p Process) WorstSchedule(push int, developing units.Duration, baths ...BathDefinition) Schedule {
	var developer []Factor
	if permille, slower := p.WorstTemperature(); slower {
		developer = append(developer, Factor{Name: "coldest developer", Permille: permille, Source: "table of " + p.Name})
	}
	return p.Schedule(push, developing, WorstFactors(baths...), developer...)
}

// WorstFactors are the greatest factors, by role, that the baths may yet ask
// for: Schedule with them is an upper bound on any run in any of them.
func WorstFactors(baths ...BathDefinition) map[string]Factor {
	worst := map[string]Factor{}
	for _, d := range baths {
		if f, ok := d.worstFactor(); ok && f.Permille > worst[d.Role].Permille {
			worst[d.Role] = f
		}
	}
	return worst
}

// Hands are the spans that take the operator's hands, in order; steps that
// follow each other without a break make one span.
func (s Schedule) Hands() []Span {
	var spans []Span
	for _, t := range s.Steps {
		if !t.Step.ByHand {
			continue
		}
		if n := len(spans); n > 0 && spans[n-1].To == t.Begins {
			spans[n-1].To = t.Ends
			continue
		}
		spans = append(spans, Span{From: t.Begins, To: t.Ends})
	}
	return spans
}

// Baths are the steps that use a bath, in order.
func (s Schedule) Baths() []TimedStep {
	var steps []TimedStep
	for _, t := range s.Steps {
		if !t.Step.Water {
			steps = append(steps, t)
		}
	}
	return steps
}
