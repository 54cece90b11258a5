package demo

import (
	"fmt"
	"strings"

	"wetside/chemistry"
	"wetside/scheduling"
)

// bathAnswer prints what a bath answers: what is left, what ends it when at the
// booked pace, with what margin, and what it still takes.
func (p printer) bathAnswer() {
	b := p.Bath
	if b.ID == "" {
		return
	}
	p.head("A BATH'S ANSWER: %s", p.words.Replace(b.ID))
	left := []string{}
	if b.AreaLeftMM2 != nil {
		left = append(left, rollEquivalents(*b.AreaLeftMM2)+" roll-equivalents")
	}
	if b.RunsLeft != nil {
		left = append(left, count(int(*b.RunsLeft), "run", "runs"))
	}
	p.line(14, "  left        %s; keeps until %s; %s", strings.Join(left, ", "), p.clock(b.ExpiresAt, "Mon 2 Jan 15:04"), b.State)
	o := b.Outlook
	p.line(14, "  booked      %s, %s roll-equivalents; %s a week", count(int(o.BookedRuns), "run", "runs"),
		rollEquivalents(o.BookedAreaMM2), rollEquivalents(o.PaceMM2PerWeek))
	margin := []string{}
	if o.Margin.AreaMM2 != nil {
		margin = append(margin, rollEquivalents(*o.Margin.AreaMM2)+" roll-equivalents unused")
	}
	if days := o.Margin.Life.Std().Hours() / 24; days >= 1 {
		margin = append(margin, fmt.Sprintf("%.0f days of life", days))
	}
	p.line(14, "  dies        %s, by %s; margin then: %s", p.clock(o.DiesAt, "Mon 2 Jan 15:04"), o.BindsFirst, strings.Join(margin, ", "))
	var more []string
	for _, r := range p.WhatIf.Rolls {
		if r.SetRolls != nil && (r.Format == "135-36" || r.Format == "120" || strings.HasPrefix(r.Format, "cine-8-")) {
			more = append(more, fmt.Sprintf("%d × %s (%s)", *r.SetRolls, r.Format, r.SetBinds))
		}
	}
	p.line(14, "  still takes, with its set: %s", strings.Join(more, " or "))
	if t := p.WhatIf.Time; t != nil {
		never := "never passes its longest before the bath is used up"
		if t.MoreMM2 != nil {
			never = "passes its longest after " + rollEquivalents(*t.MoreMM2) + " more roll-equivalents"
		}
		p.line(14, "  time        %s: %s fresh, %s now, %s at most; %s", t.Step, clockTime(t.Fresh), clockTime(t.Now), clockTime(t.Longest), never)
	}
}

// mixing prints what to measure out for a kit on the shelf.
func (p printer) mixing() {
	if p.ToMix == "" {
		return
	}
	p.head("TO MIX: %s, %d mL of each", p.kit(p.ToMix).Name, p.Mixing.VolumeML)
	for _, b := range p.Mixing.Baths {
		parts := []string{"water " + tenths(b.StartWaterTenths)}
		for _, m := range b.Measures {
			parts = append(parts, m.Name+" "+tenths(m.TenthsML))
		}
		p.line(22, "  %s%s, water to the mark (%s)", pad(b.Role, 20), strings.Join(parts, ", "), tenths(b.FillUpWaterTenths))
	}
	p.line(4, "  ! %s", p.Mixing.Cautions[0])
	p.line(4, "  Source: %s", p.Mixing.Source)
}

// tenths is tenths of a mL in mL.
func tenths(n int64) string { return fmt.Sprintf("%d.%d mL", n/10, n%10) }

// film prints what a load of cine film is.
func (p printer) film() {
	f := p.Film
	if f.Cine == nil {
		return
	}
	p.head("A CINE LOAD: %s", p.format(f.Format).Name)
	var times []string
	for _, t := range f.Cine.RunningTimes {
		times = append(times, fmt.Sprintf("%s at %d", clockTime(t.Time), t.FramesPerSecond))
	}
	p.line(4, "  %d mm, %d mm², %d.%03d roll-equivalents; %d frames, %s frames a second", f.LengthMM, f.Area.Geometric,
		f.RollPermille/1000, f.RollPermille%1000, f.Cine.Frames, strings.Join(times, ", "))
	for _, h := range f.Hanging {
		p.line(4, "  hangs in the cabinet at %s", count(int(h.Positions), "position", "positions"))
	}
}

// trace prints what the spoiled roll has touched.
func (p printer) trace() {
	if p.Trace.Of == "" {
		return
	}
	roll := p.roll(p.Trace.Of)
	p.head("TRACE of a spoiled roll: %s of %s", p.format(roll.Format).Name, p.member(roll.Member).Name)
	for _, run := range p.Trace.Runs {
		rolls := 0
		for _, r := range p.Trace.Rolls {
			if r.Run == run.ID {
				rolls++
			}
		}
		p.line(6, "  %s  %s  %s, %s; %s%s", p.clock(run.StartedAt, "Mon 2 Jan 15:04"), pad(string(run.Link), 10),
			count(rolls, "roll", "rolls"), run.Outcome, p.words.Replace(run.BathSet), noted(run))
		for _, w := range run.Warnings {
			p.line(8, "      ! %s", p.words.Replace(w.Detail))
		}
		if run.Override != nil {
			p.line(8, "      overridden: %s", run.Override.Because)
		}
	}
	for _, b := range p.Trace.Baths {
		for _, q := range b.Quarantines {
			p.line(6, "  %s  %s in quarantine: %s", p.clock(q.At, "Mon 2 Jan 15:04"), b.Role, q.Because)
			if q.LiftedAt != nil {
				p.line(6, "  %s  released: %s", p.clock(*q.LiftedAt, "Mon 2 Jan 15:04"), *q.LiftedBecause)
			}
		}
	}
	p.line(6, "  In all: %s, %s, %s, %s.", count(len(p.Trace.Kits), "kit", "kits"), count(len(p.Trace.Baths), "bath", "baths"),
		count(len(p.Trace.Runs), "run", "runs"), count(len(p.Trace.Rolls), "roll", "rolls"))
}

func noted(run scheduling.TracedRun) string {
	if run.Note == "" {
		return ""
	}
	return "; " + run.Note
}

// waste prints what was thrown out, by month.
func (p printer) waste() {
	p.head("WASTE, by month")
	for _, t := range p.Waste {
		p.put("  " + pad(t.Month, 9) + pad(strings.ReplaceAll(string(t.Kind), "_", "-"), 16) + right(fmt.Sprintf("%d mL", t.VolumeML), 9) + "  " + t.To)
	}
	p.line(4, "  ! %s", chemistry.RoleCautions("fixer")[2])
	p.put("  Never together, and data sheets and local codes know more:")
	for _, n := range p.Never {
		p.line(6, "    %s – %s: %s", n.One, n.Other, n.Because)
	}
}
