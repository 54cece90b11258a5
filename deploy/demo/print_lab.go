package demo

import (
	"fmt"
	"slices"
	"strings"

	"wetside/chemistry"
	"wetside/lab/units"
	"wetside/scheduling"
)

// rollEquivalents is an area in roll-equivalents, to a tenth.
func rollEquivalents(mm2 int64) string {
	tenths := (mm2*10 + chemistry.RollEquivalentMM2/2) / chemistry.RollEquivalentMM2
	return fmt.Sprintf("%d.%d", tenths/10, tenths%10)
}

func (p printer) baths() {
	p.head("BATHS, in roll-equivalents of film (%d mm²)", chemistry.RollEquivalentMM2)
	for _, set := range p.BathSets {
		kit := p.kit(set.Kit)
		if kit.ClosedAt != nil {
			p.line(4, "  %s: closed %s", kit.Name, p.clock(*kit.ClosedAt, "Mon 2 Jan"))
			continue
		}
		p.line(4, "  %s, mixed %s", kit.Name, p.clock(set.MixedAt, "Mon 2 Jan 15:04"))
		for _, b := range set.Baths {
			p.bath(b)
		}
	}
	for _, k := range p.Kits {
		if k.ClosedAt == nil && k.PortionsLeft > 0 {
			p.line(4, "  %s: on the shelf, to be mixed by %s", k.Name, p.clock(k.UsableUntil(), "2 Jan 2006"))
		}
	}
}

func (p printer) bath(b chemistry.Bath) {
	left := "no limit of area"
	if b.AreaLeftMM2 != nil {
		capacity, _ := b.Capacity()
		left = right(rollEquivalents(*b.AreaLeftMM2), 5) + " of " + right(rollEquivalents(capacity), 4) + " left"
	} else if b.RunsLeft != nil {
		left = fmt.Sprintf("%5d of %4d runs left", *b.RunsLeft, *b.Runs)
	}
	if b.Use == chemistry.OneShot {
		left = fmt.Sprintf("%d of %d mL left", b.VolumeLeftML, b.VolumeML)
	}
	binds := string(b.BindsFirst)
	if binds != "" {
		binds = "binds first: " + binds
	}
	p.put("    " + pad(b.Role, 18) + pad(left, 25) + pad(string(b.State), 11) + pad("until "+p.clock(b.ExpiresAt, "2 Jan 15:04"), 20) + binds)
}

func (p printer) runSheet() {
	s := p.Sheet
	batch := find(p.Batches, func(b scheduling.Batch) bool { return b.ID == s.Batch })
	process := p.process(s.Process)
	p.head("A RUN SHEET: %s%s, %s %s", process.Name, pushed(s.Push), p.sessionName(s.Session), p.clock(batch.Start, "15:04"))
	var reels []string
	for _, u := range s.Reels {
		reels = append(reels, fmt.Sprintf("%d × %s", u.Count, u.Kind))
	}
	bath := "not mixed yet"
	if s.BathSet != nil {
		bath = "mixed"
	}
	p.line(4, "  %s: %s; %d mL of solution; %s roll-equivalents (%d mm², %s area); %s, %s", p.tank(s.Tank).Name, strings.Join(reels, " + "),
		s.SolutionML, rollEquivalents(s.AreaMM2), s.AreaMM2, s.AreaRule, p.kit(batch.Kit).Name, bath)
	for _, r := range s.Rolls {
		roll := p.roll(r.Roll)
		p.line(4, "  load  %s %s on %s; hangs at %s until %s", pad(p.member(roll.Member).Name, 22), p.format(r.Format).Name, r.Reel,
			count(int(r.Positions), "position", "positions"), p.clock(r.DryAt, "Mon 15:04"))
	}
	p.put("")
	for _, ph := range s.Timeline {
		p.line(18, "  %s–%s  %s", p.clock(ph.Start, "15:04:05"), p.clock(ph.End, "15:04:05"), ph.Name)
	}
	p.put("")
	p.put("   #  " + pad("step", 26) + right("time", 6) + right("fresh", 7) + "   " + pad("temperature", 22) + "begins    how")
	for _, step := range s.Steps {
		how := []string{}
		if step.SolutionML > 0 {
			how = append(how, fmt.Sprintf("%d mL", step.SolutionML))
		}
		if step.Dark {
			how = append(how, "dark")
		}
		if step.ByHand {
			how = append(how, "by hand")
		}
		for _, f := range step.Working {
			if f.Permille > 0 {
				how = append(how, fmt.Sprintf("%s ×%d.%03d", f.Name, f.Permille/1000, f.Permille%1000))
			} else {
				how = append(how, f.Name+" +"+clockTime(f.Add))
			}
		}
		p.line(74, "  %2d  %s%s%s   %s%s  %s", step.Number, pad(step.Name, 26), right(clockTime(step.Time), 6), right(clockTime(step.BaseTime), 7),
			pad(fmt.Sprintf("%s (%s–%s)", step.Temperature, bare(step.Lowest), bare(step.Highest)), 22), p.clock(step.StartsAt, "15:04:05"), strings.Join(how, ", "))
	}
	for _, w := range s.Warnings {
		p.line(4, "  ! %s", w.Detail)
	}
	p.line(4, "  Sources: %s", strings.Join(sources(s.Steps), "; "))
	p.put("")
	for _, c := range s.Cautions {
		p.line(4, "  ! %s", c)
	}
	p.line(4, "  Source: %s", s.Source)
}

// sources are where the steps' times come from, and the corrections', each once.
func sources(steps []scheduling.SheetStep) []string {
	var out []string
	add := func(source string) {
		if source != "" && !slices.Contains(out, source) {
			out = append(out, source)
		}
	}
	for _, step := range steps {
		if len(step.Working) > 0 {
			add(step.Name + ": " + step.Source)
		}
		for _, f := range step.Working {
			add(f.Name + ": " + f.Source)
		}
	}
	return out
}

// bare is a temperature without its unit.
func bare(t units.Temperature) string { return strings.TrimSuffix(t.String(), " °C") }
