package scheduling

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/lab"
	"wetside/lab/units"
	"wetside/scheduling/planner"
)

// A RunSheet is what the operator follows: a batch's steps with their times
// corrected for push and for what the baths have seen, and its whole clock
// from warm-up to dry film.
type RunSheet struct {
	Batch          string       `json:"batch"`
	Process        string       `json:"process"`
	ProcessVersion int64        `json:"process_version"`
	Session        string       `json:"session"`
	Tank           string       `json:"tank"`
	Push           int          `json:"push"`
	BathSet        *string      `json:"bath_set,omitempty"`
	SolutionML     int64        `json:"solution_ml"`
	AreaMM2        int64        `json:"area_mm2"`
	AreaRule       lab.AreaRule `json:"area_rule"`
	Timeline       []Phase      `json:"timeline"`
	Steps          []SheetStep  `json:"steps"`
	// Reels and Rolls say what to load and where it dries.
	Reels    []planner.ReelUse `json:"reels"`
	Rolls    []SheetRoll       `json:"rolls"`
	Cautions []string          `json:"cautions"`
	// Warnings are what the operator should see to before the run.
	Warnings []chemistry.Warning `json:"warnings,omitempty"`
	Source   string              `json:"source"`
}

// A Phase is a span of a run's clock. Warm-up and loading run side by side.
type Phase struct {
	Phase string    `json:"phase"`
	Name  string    `json:"name"`
	Start time.Time `json:"start"`
	End   time.Time `json:"end"`
}

// A SheetStep is one step as the operator does it.
type SheetStep struct {
	Number int     `json:"number"`
	Role   string  `json:"role"`
	Name   string  `json:"name"`
	Bath   *string `json:"bath,omitempty"`
	// Time is BaseTime with every factor of Working on it.
	Time        units.Duration     `json:"time"`
	BaseTime    units.Duration     `json:"base_time"`
	Working     []chemistry.Factor `json:"working"`
	Temperature units.Temperature  `json:"temperature"`
	Lowest      units.Temperature  `json:"lowest"`
	Highest     units.Temperature  `json:"highest"`
	Agitation   string             `json:"agitation"`
	Drain       units.Duration     `json:"drain"`
	Dark        bool               `json:"dark"`
	ByHand      bool               `json:"by_hand"`
	StartsAt    time.Time          `json:"starts_at"`
	Cautions    []string           `json:"cautions"`
	// SolutionML is what the run needs of its bath: to cover the reels, and for
	// the film's area.
	SolutionML int64 `json:"solution_ml,omitempty"`
	// ReplenishML is what a replenished bath is topped up by after the run.
	ReplenishML int64 `json:"replenish_ml,omitempty"`
	// Source is where BaseTime and the temperatures come from.
	Source string `json:"source,omitempty"`
}

// A SheetRoll is a roll to load, and how it hangs afterwards.
type SheetRoll struct {
	Roll      string    `json:"roll"`
	Format    string    `json:"format"`
	Reel      string    `json:"reel"`
	Cabinet   string    `json:"cabinet"`
	DryAt     time.Time `json:"dry_at"`
	Positions int64     `json:"positions"`
}

// FindRunSheet is the sheet that a batch was recorded with, or, while it is
// planned, the sheet for its baths as the batches planned before it will leave
// them: a steward prints the sheets of an evening ahead. It refuses with
// NotFound, and with bath-exhausted when a bath would be past the end of its
// table of corrections.
//
// developer is how warm the developer is measured to be, nil for within its
// tolerance: black-and-white times are corrected for it; otherwise it refuses
// with developer-out-of-tolerance (colour, which is never corrected) or
// temperature-not-in-table.
func FindRunSheet(ctx context.Context, tx pgx.Tx, s lab.Scope, batchID string, developer *units.Temperature) (RunSheet, error) {
	b, err := FindBatch(ctx, tx, s.Lab.ID, batchID)
	if err != nil {
		return RunSheet{}, err
	}
	if b.Status == BatchDone || b.Status == BatchSpoiled {
		var sheet RunSheet
		err := tx.QueryRow(ctx, `SELECT run_sheet FROM runs WHERE lab_id = $1 AND batch_id = $2`, s.Lab.ID, b.ID).Scan(&sheet)
		if err != nil {
			return RunSheet{}, fmt.Errorf("read run sheet: %w", err)
		}
		return sheet, nil
	}
	return runSheet(ctx, tx, s, b, developer)
}

// runSheet makes the sheet of a planned batch, for a developer's temperature.
func runSheet(ctx context.Context, tx pgx.Tx, s lab.Scope, b Batch, developer *units.Temperature) (RunSheet, error) {
	process, err := chemistry.FindProcess(ctx, tx, s.Lab.ID, b.Process, 0)
	if err != nil {
		return RunSheet{}, err
	}
	var warmth []chemistry.Factor
	if developer != nil {
		f, err := process.AtTemperature(*developer)
		if err != nil {
			return RunSheet{}, chemistry.AsRefusal("", err)
		}
		warmth = append(warmth, f)
	}
	eq, err := readEquipment(ctx, tx, s.Lab.ID)
	if err != nil {
		return RunSheet{}, err
	}
	kit, err := chemistry.FindKit(ctx, tx, s.Lab.ID, b.Kit)
	if err != nil {
		return RunSheet{}, err
	}
	set, factors, err := bathsOf(ctx, tx, s, b, kit)
	if err != nil {
		return RunSheet{}, err
	}
	films, err := queryRolls(ctx, tx, s.Lab.ID, s.Now, "AND r.id IN (SELECT roll_id FROM batch_rolls WHERE lab_id = $1 AND batch_id = $3)", b.ID)
	if err != nil {
		return RunSheet{}, err
	}
	sheet := RunSheet{
		Batch: b.ID, Process: b.Process, ProcessVersion: process.Version, Session: b.Session, Tank: b.Tank, Push: b.Push,
		BathSet: b.BathSet, AreaRule: s.Lab.AreaRule, Reels: b.Reels, Cautions: process.AllCautions(), Source: process.Source,
	}
	load := loadOf(b, films, eq)
	sheet.SolutionML, sheet.AreaMM2 = load.SolutionML, load.AreaMM2
	if err := sheet.addRolls(ctx, tx, s, b, films, eq); err != nil {
		return RunSheet{}, err
	}
	schedule := process.Schedule(b.Push, b.Developing, factors, warmth...)
	sheet.addSteps(b, schedule, set, kit, load)
	sheet.warn(schedule, set)
	flush, err := flushBefore(ctx, tx, s, b, eq)
	if err != nil {
		return RunSheet{}, err
	}
	sheet.addTimeline(s, b, eq, process, kit, schedule, flush)
	return sheet, nil
}

// bathsOf is the bath set that a batch runs in, nil while its kit is not mixed,
// and what it does to the steps once the batches planned before it have run.
func bathsOf(ctx context.Context, tx pgx.Tx, s lab.Scope, b Batch, kit chemistry.Kit) (*chemistry.BathSet, map[string]chemistry.Factor, error) {
	used, err := usedBefore(ctx, tx, s, b)
	if err != nil {
		return nil, nil, err
	}
	var set *chemistry.BathSet
	then := chemistry.BathSet{} // as the batch will find it
	if b.BathSet != nil {
		found, err := chemistry.FindBathSet(ctx, tx, s.Lab.ID, *b.BathSet, s.Now)
		if err != nil {
			return nil, nil, err
		}
		set = &found
		then.Baths = slices.Clone(found.Baths)
	} else {
		for _, d := range kit.Baths {
			then.Baths = append(then.Baths, chemistry.Bath{ID: b.waitsFor, BathDefinition: d})
		}
	}
	for i := range then.Baths {
		then.Baths[i].UsedAreaMM2 += used
	}
	factors, err := then.Factors()
	if err != nil {
		return nil, nil, lab.Refuse(lab.Conflict, "bath-exhausted", "%s", detail(err))
	}
	return set, factors, nil
}

// usedBefore is the film, by the area that the lab counts, that batches planned
// before b and not run yet will have put through its baths by then.
func usedBefore(ctx context.Context, tx pgx.Tx, s lab.Scope, b Batch) (mm2 int64, err error) {
	baths := b.waitsFor
	if b.BathSet != nil {
		baths = *b.BathSet
	}
	err = tx.QueryRow(ctx, `
		SELECT coalesce(sum(CASE $3 WHEN 'geometric' THEN r.geometric_area_mm2 ELSE r.trade_area_mm2 END), 0)::bigint
		FROM batches o
		JOIN batch_rolls br ON br.lab_id = o.lab_id AND br.batch_id = o.id AND br.live
		JOIN rolls r ON r.lab_id = br.lab_id AND r.id = br.roll_id
		WHERE o.lab_id = $1 AND o.status = 'planned' AND coalesce(o.bath_set_id, o.placed->>'bath_set') = $2
			AND (o.start_at, o.id) < ($4, $5)`,
		s.Lab.ID, baths, string(s.Lab.AreaRule), b.Start, b.ID).Scan(&mm2)
	if err != nil {
		return 0, fmt.Errorf("sum up the batches before: %w", err)
	}
	return mm2, nil
}

// loadOf is what a batch asks of its baths.
func loadOf(b Batch, films []Roll, eq equipment) chemistry.Load {
	var load chemistry.Load
	for _, r := range films {
		load.AreaMM2 += r.Area.Counted()
	}
	for _, u := range b.Reels {
		load.SolutionML += u.Count * eq.reel(u.Kind).SolutionML
	}
	return load
}

func (eq equipment) reel(code string) lab.ReelKind {
	if at := slices.IndexFunc(eq.reels, func(k lab.ReelKind) bool { return k.Code == code }); at >= 0 {
		return eq.reels[at]
	}
	return lab.ReelKind{Code: code}
}

func (eq equipment) cabinet(id string) lab.Cabinet {
	if at := slices.IndexFunc(eq.cabinets, func(c lab.Cabinet) bool { return c.ID == id }); at >= 0 {
		return eq.cabinets[at]
	}
	return lab.Cabinet{ID: id}
}

func (eq equipment) tank(id string) lab.Tank {
	if at := slices.IndexFunc(eq.tanks, func(t lab.Tank) bool { return t.ID == id }); at >= 0 {
		return eq.tanks[at]
	}
	return lab.Tank{ID: id}
}

func (sheet *RunSheet) addRolls(ctx context.Context, tx pgx.Tx, s lab.Scope, b Batch, films []Roll, eq equipment) error {
	formats, err := chemistry.Formats(ctx, tx, s.Lab.ID)
	if err != nil {
		return err
	}
	sheet.Rolls = []SheetRoll{}
	for _, pl := range b.Rolls {
		at := slices.IndexFunc(films, func(r Roll) bool { return r.ID == pl.Roll })
		if at < 0 {
			continue
		}
		r := films[at]
		out := SheetRoll{Roll: r.ID, Format: r.Format, Reel: r.ReelKind, Cabinet: pl.Cabinet, DryAt: pl.DryAt}
		if f := slices.IndexFunc(formats, func(f chemistry.Format) bool { return f.Code == r.Format }); f >= 0 {
			out.Positions = chemistry.Positions(formats[f], r.LengthMM, eq.cabinet(pl.Cabinet).DropMM)
		}
		sheet.Rolls = append(sheet.Rolls, out)
	}
	return nil
}

func (sheet *RunSheet) addSteps(b Batch, schedule chemistry.Schedule, set *chemistry.BathSet, kit chemistry.Kit, load chemistry.Load) {
	for _, t := range schedule.Steps {
		step := SheetStep{
			Number: t.Number, Role: t.Step.Role, Name: t.Step.Name, Time: t.Time, BaseTime: t.Base,
			Working: append([]chemistry.Factor{}, t.Working...), Temperature: t.Step.Temperature,
			Lowest: t.Step.Lowest(), Highest: t.Step.Highest(), Agitation: t.Step.Agitation, Drain: t.Step.Drain,
			Dark: t.Step.Dark, ByHand: t.Step.ByHand, StartsAt: b.Wet.Add(t.Begins.Std()),
			Cautions: append([]string{}, chemistry.RoleCautions(t.Step.Role)...), Source: t.Step.Source,
		}
		for _, d := range kit.Baths {
			if d.Role == t.Step.Role && !t.Step.Water {
				step.SolutionML, step.ReplenishML = d.Needs(load), d.Replenisher(load)
			}
		}
		if set != nil && !t.Step.Water {
			for _, bath := range set.Baths {
				if bath.Role == t.Step.Role {
					step.Bath = &bath.ID
				}
			}
		}
		sheet.Steps = append(sheet.Steps, step)
	}
}

// detail is what a fault of the chemistry says.
func detail(err error) string {
	var f chemistry.Fault
	if errors.As(err, &f) {
		return f.Detail
	}
	return err.Error()
}
