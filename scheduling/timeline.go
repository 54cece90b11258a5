package scheduling

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
	"wetside/lab/units"
)

// hangingEach is how long a film takes to hang up, as part of the clean-up: a
// minute, common practice.
const hangingEach = units.Minute

func (sheet *RunSheet) addTimeline(s lab.Scope, b Batch, eq equipment, p chemistry.Process, kit chemistry.Kit, schedule chemistry.Schedule, flush *Phase) {
	add := func(phase, name string, start time.Time, d units.Duration) time.Time {
		end := start.Add(d.Std())
		if d > 0 {
			sheet.Timeline = append(sheet.Timeline, Phase{Phase: phase, Name: name, Start: start, End: end})
		}
		return end
	}
	tank := eq.tank(b.Tank)
	if flush != nil {
		sheet.Timeline = append(sheet.Timeline, *flush)
	}
	begin := b.Start
	if b.Mixes {
		begin = add("mix", "Mix "+kit.Name, begin, kit.Mix)
	}
	warm, err := chemistry.WarmUp(tank.VolumeML, s.Lab.RoomTemperature, p.WorkingTemperature(), tank.HeaterW, s.Lab.HeaterEfficiencyPermille)
	if err == nil {
		add("warm-up", fmt.Sprintf("Warm %s up to %s", tank.Name, p.WorkingTemperature()), begin, warm)
	}
	var loading units.Duration
	var reels []string
	for _, u := range b.Reels {
		loading += units.Duration(u.Count) * eq.reel(u.Kind).Loading
		reels = append(reels, fmt.Sprintf("%d × %s", u.Count, eq.reel(u.Kind).Name))
	}
	add("loading", "Load in the dark: "+strings.Join(reels, ", "), begin, loading)
	end := add("wet", "Process", b.Wet, schedule.Wet)
	for _, h := range schedule.Hands() {
		add("by-hand", "By hand, outside the tank", b.Wet.Add(h.From.Std()), h.To-h.From)
	}
	add("hanging", "Hang up to dry: "+hung(sheet.Rolls), end, min(tank.CleanUp, units.Duration(len(b.Rolls))*hangingEach))
	add("clean-up", "Clean "+tank.Name, end, tank.CleanUp)
	for _, u := range b.Reels {
		k := eq.reel(u.Kind)
		add("reel-drying", "Dry reels: "+k.Name, end, k.Drying)
	}
	dried := map[string]bool{}
	for _, pl := range b.Rolls {
		if c := eq.cabinet(pl.Cabinet); !dried[c.ID] {
			dried[c.ID] = true
			add("drying", "Dry film in "+c.Name, end, c.Drying)
		}
	}
}

// hung is how many films hang, and at how many positions.
func hung(rolls []SheetRoll) string {
	positions := int64(0)
	for _, r := range rolls {
		positions += r.Positions
	}
	films := "films"
	if len(rolls) == 1 {
		films = "film"
	}
	return fmt.Sprintf("%d %s, %d hanging positions", len(rolls), films, positions)
}

// flushBefore is the flush of a batch's tank after another process's batch in
// the same session; nil if there is none.
func flushBefore(ctx context.Context, tx pgx.Tx, s lab.Scope, b Batch, eq equipment) (*Phase, error) {
	tank := eq.tank(b.Tank)
	if tank.Flush == 0 {
		return nil, nil
	}
	var before string
	var clear time.Time
	err := tx.QueryRow(ctx, `
		SELECT process, clear_at FROM batches
		WHERE lab_id = $1 AND session_id = $2 AND tank_id = $3 AND status <> 'cancelled' AND clear_at <= $4 AND id <> $5
		ORDER BY clear_at DESC LIMIT 1`, s.Lab.ID, b.Session, b.Tank, b.Start, b.ID).Scan(&before, &clear)
	if errors.Is(err, pgx.ErrNoRows) || err == nil && before == b.Process {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("find the batch before: %w", err)
	}
	return &Phase{Phase: "flush", Name: "Flush " + tank.Name + " after " + before, Start: clear, End: clear.Add(tank.Flush.Std())}, nil
}

// warn notes what the operator should see to before the run.
func (sheet *RunSheet) warn(schedule chemistry.Schedule, set *chemistry.BathSet) {
	for i, t := range schedule.Steps {
		if longest := t.Step.LongestAt(t.Base); longest != 0 && t.Time > longest {
			sheet.Warnings = append(sheet.Warnings, chemistry.Warning{Step: t.Number, Code: "past-longest", Source: t.Step.Source,
				Detail: fmt.Sprintf("%s takes %s, its longest is %s: mix a fresh bath", t.Step.Name, t.Time, longest)})
		}
		if set == nil || t.Step.Water {
			continue
		}
		for _, bath := range set.Baths {
			if bath.Role == t.Step.Role {
				sheet.Warnings = append(sheet.Warnings, bathWarnings(bath, t, sheet.Steps[i])...)
			}
		}
	}
}

func bathWarnings(bath chemistry.Bath, t chemistry.TimedStep, step SheetStep) []chemistry.Warning {
	var out []chemistry.Warning
	warn := func(code, format string, args ...any) {
		out = append(out, chemistry.Warning{Step: t.Number, Code: code, Detail: t.Step.Name + ": " + fmt.Sprintf(format, args...), Source: "the bath as it stands"})
	}
	if bath.Quarantine != nil {
		warn("quarantined", "the bath is in quarantine: %s", bath.Quarantine.Because)
	}
	if bath.DiscardedAt != nil {
		warn("discarded", "the bath is discarded")
	} else if step.StartsAt.After(bath.ExpiresAt) {
		warn("expires", "the bath expires at %s, before the step", bath.ExpiresAt.UTC().Format(time.RFC3339))
	}
	if bath.ReplenisherDueML > 0 {
		warn("replenisher-due", "top the bath up by %d mL first", bath.ReplenisherDueML)
	}
	if step.SolutionML > bath.VolumeLeftML {
		warn("solution", "the run needs %d mL, the bath has %d", step.SolutionML, bath.VolumeLeftML)
	}
	return out
}
