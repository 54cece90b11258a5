package scheduling

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/chemistry"
	"wetside/chemistry/shares"
	"wetside/lab"
)

// A Run is a batch as it was carried out.
type Run struct {
	ID        string     `json:"id"`
	Batch     string     `json:"batch"`
	Outcome   RunOutcome `json:"outcome"`
	StartedAt time.Time  `json:"started_at"`
	EndedAt   time.Time  `json:"ended_at"`
	AreaMM2   int64      `json:"area_mm2"`
	Note      string     `json:"note"`
	// RunSheet is as it stood for the baths before the run.
	RunSheet   RunSheet  `json:"run_sheet"`
	RecordedBy string    `json:"recorded_by"`
	RecordedAt time.Time `json:"recorded_at"`
	// Override is why it was made against the state of its baths, if it was.
	Override *RunOverride `json:"override,omitempty"`
	// Readings are what was read of it, with warnings, oldest first.
	Readings []RunReading `json:"readings"`
}

// A RunOverride is the operator's word for a run that would be refused, kept
// with what it would have been refused for.
type RunOverride struct {
	Because string   `json:"because"`
	Against []string `json:"against"`
}

// A RunOutcome is how a run went.
type RunOutcome string

// The outcomes. A spoiled run has used its baths and is not charged to its
// members.
const (
	RunDone    RunOutcome = "done"
	RunSpoiled RunOutcome = "spoiled"
)

// NewRun is what the operator records of a run: when the first solution went
// in (StartedAt is before it, by loading) and when the film was hung up.
type NewRun struct {
	Outcome   RunOutcome `json:"outcome"`
	StartedAt time.Time  `json:"started_at"`
	EndedAt   time.Time  `json:"ended_at"`
	Note      string     `json:"note,omitempty"`
	// Readings are what was read of it; more may follow.
	Readings *chemistry.Reading `json:"readings,omitempty"`
	// Override says why a run was made in dead or quarantined baths, or with a
	// developer off its temperature: without it such a run is refused.
	Override string `json:"override,omitempty"`
	// PouredTo is where went what the run took of one-shot baths; it is logged
	// as waste if it is said.
	PouredTo string `json:"poured_to,omitempty"`
}

// longestRun bounds what is recorded as one run: a day.
const longestRun = 24 * time.Hour

// RecordRun records a planned batch as run: its baths have seen its film, its
// rolls dry (or are spoiled), and what it used is charged. It refuses with
//
//   - invalid: times out of order or to come
//   - run-already-recorded, batch-not-planned
//   - baths-not-mixed: the kit it waits for is still on the shelf
//   - bath-dead, bath-quarantined, developer-out-of-tolerance,
//     temperature-not-in-table: unless overridden, which is kept
//   - bath-exhausted, kit-closed: as chemistry.UseBaths
func RecordRun(ctx context.Context, tx pgx.Tx, s lab.Scope, batchID string, in NewRun) (Run, error) {
	if _, err := lab.Lock(ctx, tx, s.Lab.ID); err != nil {
		return Run{}, err
	}
	b, err := FindBatch(ctx, tx, s.Lab.ID, batchID)
	if err != nil {
		return Run{}, err
	}
	session, err := FindSession(ctx, tx, s, b.Session)
	if err != nil {
		return Run{}, err
	}
	if err := in.check(s, b, session); err != nil {
		return Run{}, err
	}
	sheet, against, err := recordedSheet(ctx, tx, s, b, in)
	if err != nil {
		return Run{}, err
	}
	films, err := queryRolls(ctx, tx, s.Lab.ID, s.Now,
		"AND r.id IN (SELECT roll_id FROM batch_rolls WHERE lab_id = $1 AND batch_id = $3 AND live) ORDER BY r.id", b.ID)
	if err != nil {
		return Run{}, err
	}
	use := chemistry.Use{
		BathSet:  *b.BathSet,
		Load:     chemistry.Load{AreaMM2: sheet.AreaMM2, SolutionML: sheet.SolutionML},
		Begins:   begins(sheet, in),
		Override: in.Override != "",
	}
	set, err := chemistry.FindBathSet(ctx, tx, s.Lab.ID, use.BathSet, s.Now)
	if err != nil {
		return Run{}, err
	}
	for _, f := range set.Against(use) {
		against = append(against, f.Detail)
	}
	run := Run{Batch: b.ID, Outcome: in.Outcome, StartedAt: in.StartedAt, EndedAt: in.EndedAt, AreaMM2: sheet.AreaMM2, Note: in.Note}
	if in.Override != "" {
		run.Override = &RunOverride{Because: in.Override, Against: append([]string{}, against...)}
	}
	if run.ID, err = insertRun(ctx, tx, s, run, sheet); err != nil {
		return Run{}, err
	}
	if _, err = chemistry.UseBaths(ctx, tx, s, use); err != nil {
		return Run{}, err
	}
	if err := pourAway(ctx, tx, s, run.ID, set, use, in.PouredTo); err != nil {
		return Run{}, err
	}
	if in.Readings != nil {
		if _, err := readRun(ctx, tx, s, run.ID, sheet, set, *in.Readings, "/readings"); err != nil {
			return Run{}, err
		}
	}
	if err := finishRolls(ctx, tx, s, b, in); err != nil {
		return Run{}, err
	}
	if err := tellRun(ctx, tx, s, run); err != nil {
		return Run{}, err
	}
	if in.Outcome == RunDone {
		charge := shares.Run{ID: run.ID, Kit: b.Kit}
		for _, r := range films {
			charge.Rolls = append(charge.Rolls, shares.RollUse{Roll: r.ID, Member: r.Member, AreaMM2: r.Area.Counted()})
		}
		if err := shares.ChargeRun(ctx, tx, s, charge); err != nil {
			return Run{}, err
		}
	}
	return FindRun(ctx, tx, s.Lab.ID, run.ID)
}

// pourAway logs what a run took of one-shot baths as waste that went somewhere;
// "" logs nothing.
func pourAway(ctx context.Context, tx pgx.Tx, s lab.Scope, runID string, set chemistry.BathSet, use chemistry.Use, to string) error {
	for _, b := range set.Baths {
		if _, used := use.Begins[b.Role]; !used || to == "" || b.Draw(use.Load) == 0 {
			continue
		}
		_, err := chemistry.LogWaste(ctx, tx, s, chemistry.NewWaste{Kind: chemistry.WasteOf(b.Role), VolumeML: b.Draw(use.Load), To: to,
			Note: "one-shot " + b.Role + " of " + b.ID + ", " + runID})
		if err != nil {
			return at("/poured_to", err)
		}
	}
	return nil
}

// check refuses what cannot be a run of the batch.
func (in NewRun) check(s lab.Scope, b Batch, session Session) error {
	switch {
	case b.Status == BatchDone || b.Status == BatchSpoiled:
		return lab.Refuse(lab.Conflict, "run-already-recorded", "the batch's run is recorded")
	case b.Status != BatchPlanned:
		return lab.Refuse(lab.Conflict, "batch-not-planned", "the batch is %s", b.Status)
	case b.BathSet == nil:
		return lab.Refuse(lab.Conflict, "baths-not-mixed", "the batch waits for a kit that is not mixed: say first when it was")
	}
	no := lab.Refuse(lab.Invalid, "invalid", "there can be no such run")
	if len([]rune(in.Override)) > 500 {
		_ = no.With("/override", "length", "want at most 500 characters")
	}
	if in.Outcome != RunDone && in.Outcome != RunSpoiled {
		_ = no.With("/outcome", "unknown", "want done or spoiled")
	}
	if !in.EndedAt.After(in.StartedAt) || in.EndedAt.Sub(in.StartedAt) > longestRun {
		_ = no.With("/ended_at", "out-of-range", "want an end after the start, within a day")
	}
	// People may begin early or run late, but not be done before they opened.
	if in.EndedAt.After(in.StartedAt) && !in.EndedAt.After(session.Start) {
		_ = no.With("/ended_at", "before-session", "its session began at %s", session.Start.Format(time.RFC3339))
	}
	if in.EndedAt.After(s.Now) {
		_ = no.With("/ended_at", "in-the-future", "record a run once it is over")
	}
	return no.OrNil()
}

// begins is when each bath's step began: the steps took their times on the
// sheet and ended when the run did.
func begins(sheet RunSheet, in NewRun) map[string]time.Time {
	out := map[string]time.Time{}
	at := in.EndedAt
	for _, step := range slices.Backward(sheet.Steps) {
		at = at.Add(-step.Time.Std())
		if step.Bath != nil {
			// No step begins before the run: if it went quicker than the sheet, all began within it.
			out[step.Role] = later(in.StartedAt, at)
		}
	}
	return out
}

func insertRun(ctx context.Context, tx pgx.Tx, s lab.Scope, run Run, sheet RunSheet) (id string, err error) {
	sheetJSON, err := json.Marshal(sheet)
	if err != nil {
		return "", fmt.Errorf("store run sheet: %w", err)
	}
	err = tx.QueryRow(ctx, `
		INSERT INTO runs (lab_id, id, batch_id, outcome, started_at, ended_at, area_mm2, note, run_sheet, recorded_by, recorded_at, override)
		VALUES ($1, new_id('run', $2), $3, $4, $5, $6, $7, $8, $9, $10, $2, $11) RETURNING id`,
		s.Lab.ID, s.Now, run.Batch, string(run.Outcome), run.StartedAt, run.EndedAt, run.AreaMM2, run.Note, sheetJSON, s.By.ID, run.Override).Scan(&id)
	if lab.Violates(err, lab.UniqueViolation, "runs_once") {
		return "", lab.Refuse(lab.Conflict, "run-already-recorded", "the batch's run is recorded")
	}
	if err != nil {
		return "", fmt.Errorf("record run: %w", err)
	}
	return id, nil
}

// finishRolls hangs the batch's rolls up to dry, or writes them off.
func finishRolls(ctx context.Context, tx pgx.Tx, s lab.Scope, b Batch, in NewRun) error {
	_, err := tx.Exec(ctx, `UPDATE batches SET status = $3, version = version + 1 WHERE lab_id = $1 AND id = $2`,
		s.Lab.ID, b.ID, string(in.Outcome))
	if err != nil {
		return fmt.Errorf("finish batch: %w", err)
	}
	for _, pl := range b.Rolls {
		cabinet, err := lab.FindCabinet(ctx, tx, s.Lab.ID, pl.Cabinet)
		if err != nil {
			return err
		}
		status, dryAt := "processed", in.EndedAt.Add(cabinet.Drying.Std())
		if in.Outcome == RunSpoiled {
			status = "spoiled"
		}
		_, err = tx.Exec(ctx, `
			UPDATE rolls SET status = $3, dry_at = $4, version = version + 1 WHERE lab_id = $1 AND id = $2`,
			s.Lab.ID, pl.Roll, status, dryAt)
		if err != nil {
			return fmt.Errorf("finish roll: %w", err)
		}
		_, err = tx.Exec(ctx, `UPDATE batch_rolls SET dry_at = $4 WHERE lab_id = $1 AND batch_id = $2 AND roll_id = $3`,
			s.Lab.ID, b.ID, pl.Roll, dryAt)
		if err != nil {
			return fmt.Errorf("finish roll: %w", err)
		}
	}
	return lab.Touch(ctx, tx, s.Lab.ID)
}

const runColumns = `id, batch_id, outcome, started_at, ended_at, area_mm2, note, run_sheet, recorded_by, recorded_at, override,
	(SELECT coalesce(jsonb_agg(jsonb_build_object('id', q.id, 'reading', q.reading, 'warnings', q.warnings,
		'read_by', q.read_by, 'read_at', q.read_at) ORDER BY q.id), '[]')
	FROM readings q WHERE q.lab_id = runs.lab_id AND q.run_id = runs.id)`

// FindRun reads a run. It refuses with NotFound.
func FindRun(ctx context.Context, tx pgx.Tx, labID, id string) (Run, error) {
	return one[Run](ctx, tx, "run", `SELECT `+runColumns+` FROM runs WHERE lab_id = $1 AND id = $2`, labID, id)
}

// ListRuns reads the runs, oldest first.
func ListRuns(ctx context.Context, tx pgx.Tx, labID string, p lab.Page) (lab.List[Run], error) {
	runs, err := many[Run](ctx, tx, "runs", `
		SELECT `+runColumns+` FROM runs WHERE lab_id = $1 AND id > $2 ORDER BY id LIMIT $3`, labID, p.After, p.Limit+1)
	if err != nil {
		return lab.List[Run]{}, err
	}
	return lab.Cut(runs, p, func(r Run) string { return r.ID }), nil
}
